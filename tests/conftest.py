"""Hypothesis profiles: no deadlines; derandomised in continuous integration. A cache folder for this run alone, and no
network but this machine's own, in the programs that tests begin too.
"""

import gc
import os
import runpy
import signal
import tempfile
from collections.abc import Iterator
from pathlib import Path

# before numpy: each worker of a run has a core, and threads that wait for one another would only burn it
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import pytest
from hypothesis import HealthCheck, settings

_quiet = [HealthCheck.too_slow, HealthCheck.data_too_large]
settings.register_profile("dev", max_examples=50, deadline=None, suppress_health_check=_quiet)
settings.register_profile(
    "ci", max_examples=25, deadline=None, derandomize=True, print_blob=True, suppress_health_check=_quiet
)
settings.register_profile("nightly", max_examples=5000, deadline=None, print_blob=True, suppress_health_check=_quiet)
settings.load_profile(os.environ.get("HYPOTHESIS_PROFILE", "ci" if os.environ.get("CI") else "dev"))

GUARD = Path(__file__).parent / "support" / "guard"
REFUSED = "PROPMATCH_TESTS_NETWORK"


def pytest_configure(config):
    """Answers kept by one test serve the others of this run, whatever process they are in, and nobody else."""
    folder = tempfile.TemporaryDirectory(prefix="propmatch-tests-")
    config.add_cleanup(folder.cleanup)
    if not hasattr(config, "workerinput"):
        os.environ["PROPMATCH_CACHE"] = f"{folder.name}/kept"
    os.environ[REFUSED] = f"{folder.name}/refused"
    Path(os.environ[REFUSED]).touch()
    before = os.environ.get("PYTHONPATH", "")
    if not before.startswith(str(GUARD)):
        os.environ["PYTHONPATH"] = os.pathsep.join(filter(None, (str(GUARD), before)))
    runpy.run_path(str(GUARD / "sitecustomize.py"))
    if signal.getsignal(signal.SIGINT) is signal.SIG_IGN:  # begun in the background, where shells have it ignored
        signal.signal(signal.SIGINT, signal.default_int_handler)


def pytest_collection_finish():
    """What was made to collect stays: no search for garbage looks through it again."""
    gc.collect()
    gc.freeze()


@pytest.fixture(autouse=True)
def no_network() -> Iterator[None]:
    """A test fails that asks for another machine, however it takes the refusal."""
    yield
    refused = os.environ[REFUSED]
    if os.path.getsize(refused):
        said = Path(refused).read_text(encoding="utf-8")
        os.truncate(refused, 0)
        pytest.fail(f"something was to leave this machine:\n{said}")
