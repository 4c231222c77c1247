"""Coverage chooses the inputs: atheris feeds the generators, where it is installed."""

import sys
import tempfile
from pathlib import Path
from random import Random
from typing import Any

from .harness import Trial, readers_by_name

__all__ = ["guided"]


class _Fed(Random):
    """Chances that come from bytes; zeros where they end."""

    def __new__(cls, *_: object) -> "_Fed":
        return super().__new__(cls)

    def __init__(self, feed: Any) -> None:
        super().__init__(0)
        self.feed = feed

    def random(self) -> float:
        return self.feed.ConsumeIntInRange(0, (1 << 24) - 1) / (1 << 24)

    def getrandbits(self, k: int) -> int:
        return self.feed.ConsumeIntInRange(0, (1 << min(k, 62)) - 1)


def guided(name: str) -> None:
    """Try inputs of one reader until one is a finding or somebody stops it."""
    import atheris

    with atheris.instrument_imports(include=["propmatch", "propmatch_plugins"]):
        from .readers import READERS

    reader = readers_by_name(READERS)[name]

    def once(data: bytes) -> None:
        reader.run(Trial(_Fed(atheris.FuzzedDataProvider(data)), folder))

    with tempfile.TemporaryDirectory() as place:
        folder = Path(place)
        atheris.Setup([sys.argv[0], "-timeout=5", "-rss_limit_mb=4096"], once)
        atheris.Fuzz()
