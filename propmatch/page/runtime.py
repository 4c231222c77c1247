"""The Python for browsers that a user downloaded: which files belong in its folder, and whether they are those."""

import json
from hashlib import sha256
from pathlib import Path
from zipfile import BadZipFile, ZipFile

import attrs

from propmatch.faults import Fault, InputFaults

__all__ = ["FILES", "PYTHON", "VERSION", "Runtime"]

VERSION, PYTHON = "0.29.0", "3.13"
_CORE, _NUMPY = f"Pyodide {VERSION}", "numpy 2.2.5 for WebAssembly"
FILES = {
    "package.json": (_CORE, "3e7a3c89258b365ced5cad6b4b781e76fbd85195bedae0c0622ed18b89de6410"),
    "pyodide-lock.json": (_CORE, "701557726114e9a968d2088153414b2f126b8631aa734ed98eaf1797d4e4d087"),
    "pyodide.js": (_CORE, "4b189b200cd62705bded5c3982e8ea9edfb4757aae03308f13f7431009992554"),
    "pyodide.asm.js": (_CORE, "f1e70077bd701757b2798fc57f540fe39cf23d36ee5cd7c1a9b3a6f35cf500a7"),
    "pyodide.asm.wasm": (_CORE, "615172c6b2f5efe53e41d0201a98eb37c1f3aa7675d11cb06b6079b3a6b2bef5"),
    "python_stdlib.zip": (_CORE, "e389fbdc394a00d31ff0624386c9e3e52e04727130ac73597a99c477afe4f1ca"),
    "numpy-2.2.5-cp313-cp313-pyodide_2025_0_wasm32.whl": (
        _NUMPY, "2ca46b70661caea8f9f8089d22495c7a24c120fc5881e68934ac3a04d3fc8a02",
    ),
}  # fmt: skip
"""What belongs in the folder: name, what it is a file of, sha256. The lock file of the core names the numpy it fits."""


@attrs.frozen
class Runtime:
    """A folder in which every file is what it must be.

    Attributes
    ----------
    folder : Path
    files : dict of str to bytes
        By name.
    """

    folder: Path
    files: dict[str, bytes]

    @classmethod
    def of(cls, folder: str | Path | None) -> "Runtime":
        """Read and check; without a folder all of it is missing.

        Raises
        ------
        InputFaults
            Everything that is missing, of another version, or damaged.
        """
        if folder is None or not Path(folder).is_dir():
            where, rule = ("--runtime", "is missing") if folder is None else (str(folder), "no such folder")
            hint = "a folder with the Python for browsers that you downloaded; in it belong"
            raise InputFaults([Fault(where, rule=rule, hint=hint), *(_lacking(name, name) for name in FILES)])
        place = Path(folder)
        found, faults = {}, []
        other = _other_version(place)
        for name, (of, wanted) in FILES.items():
            try:
                found[name] = (place / name).read_bytes()
            except OSError as error:
                faults.append(_lacking(name, str(place / name), error))
                continue
            own = sha256(found[name]).hexdigest()
            if own != wanted and not (other and of == _CORE):
                rule = f"is damaged, or of another version than {of}: its sha256 is {own}"
                faults.append(Fault(str(place / name), rule=rule, hint=f"must be {wanted}"))
        if faults or other:
            raise InputFaults([*other, *faults])
        return cls(place, found)

    def unpacked(self, name: str) -> dict[str, bytes]:
        """The files of an archive by their paths."""
        try:
            with ZipFile(self.folder / name) as archive:
                return {each: archive.read(each) for each in archive.namelist() if not each.endswith("/")}
        except (BadZipFile, OSError) as error:
            raise InputFaults([Fault(str(self.folder / name), rule=f"cannot be unpacked: {error}")]) from error


def _lacking(name: str, where: str, error: OSError | None = None) -> Fault:
    of, wanted = FILES[name]
    read = error is None or isinstance(error, FileNotFoundError)
    rule = "is missing" if read else f"cannot be read: {error.strerror}"  # type: ignore[union-attr]
    return Fault(where, rule=rule, hint=f"a file of {of}, sha256 {wanted}")


def _other_version(place: Path) -> list[Fault]:
    """A fault where the core says that it is another version."""
    try:
        said = json.loads((place / "package.json").read_text(encoding="utf-8"))["version"]
    except (OSError, ValueError, LookupError, TypeError):
        return []
    rule = f"must be {VERSION}, which numpy and the checks of this program belong to"
    return [] if said == VERSION else [Fault(str(place / "package.json"), "version", said, rule)]
