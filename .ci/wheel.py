"""Says whether a wheel holds what it should and nothing else: ``python .ci/wheel.py WHEEL``.

Every folder that may be inside is listed with the endings of its files; what trains, tests or measures is in none.
"""

import sys
from collections.abc import Iterable
from pathlib import PurePosixPath
from zipfile import ZipFile

CODE = (".py",)
ROOMS = ("aircraft", "bench", "catalogue", "checks", "commands", "models", "page", "questions", "records", "search",
         "search/bounds", "sheet", "tolerances", "train", "words")  # fmt: skip
FOLDERS = {
    "propmatch": (".py", "py.typed"),
    **{f"propmatch/{room}": CODE for room in ROOMS},
    "propmatch/guide": (".py", ".css", ".csv"),
    "propmatch/guide/pages": (".md",),
    "propmatch/page/alone": (".js", ".txt"),
    "propmatch/page/static": (".html", ".css", ".js"),
    "propmatch/sheet/templates": (".html", ".css", ".js"),
    "propmatch_plugins": (".py", "py.typed"),
    "propmatch_plugins/prediction": CODE,
    "propmatch_plugins/reading": CODE,
    "propmatch_datasets": (".py", ".csv", ".toml", "py.typed"),
    "propmatch_datasets/briefs": (".toml",),
    "propmatch_datasets/prediction": (".py", ".csv", ".md", ".toml"),
    "propmatch_datasets/recipe": (".py", ".csv"),
}
"""Folder to the endings that may be in it; beside them stands what the build says of the distribution."""


def misplaced(names: Iterable[str]) -> list[str]:
    """The files that no folder allows."""
    out = []
    for name in names:
        path = PurePosixPath(name)
        about = path.parts[0].endswith(".dist-info")
        if not about and not name.endswith(FOLDERS.get(str(path.parent), ())):
            out.append(name)
    return out


def main() -> int:
    """Look into the wheel that is named."""
    with ZipFile(sys.argv[1]) as wheel:
        names = [name for name in wheel.namelist() if not name.endswith("/")]
    held = {str(PurePosixPath(name).parent) for name in names}
    wrong = misplaced(names)
    wrong += [f"{folder}: nothing of it" for folder in ("propmatch", "propmatch_plugins", "propmatch_datasets/briefs")
              if folder not in held]  # fmt: skip
    said = [f"not to be in a wheel: {each}" for each in wrong]
    print("\n".join(said or [f"wheel: {len(names)} files in {len(held)} folders"]))
    return 1 if wrong else 0


if __name__ == "__main__":
    sys.exit(main())
