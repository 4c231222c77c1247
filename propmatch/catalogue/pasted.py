"""A table or lines of parts as they were pasted or dropped: read by their headings, shown, and given ids of a box."""

import re
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import attrs

from propmatch.faults import Fault, InputFaults
from propmatch.records.parts import KINDS

__all__ = ["Pasted", "read_pasted"]


@attrs.frozen(kw_only=True)
class Pasted:
    """What was read.

    Attributes
    ----------
    parts : sequence of (kind, part)
        At least one.
    faults : sequence of Fault
        Of the rest, and warnings.
    columns : sequence of str
        Which column was read as which; none of typed lines.
    """

    parts: Sequence[tuple[str, Any]]
    faults: Sequence[Fault]
    columns: Sequence[str]

    @property
    def wrong(self) -> int:
        """How many of the faults are no mere warnings."""
        return sum(fault.kind == "fault" for fault in self.faults)

    @property
    def counts(self) -> dict[str, int]:
        """Parts of each kind that has any."""
        found = {each: sum(kind == each for kind, _ in self.parts) for each in KINDS}
        return {kind: count for kind, count in found.items() if count}

    @property
    def sentence(self) -> str:
        """``Read 3 motors; 1 fault, below``."""
        said = ", ".join(f"{count} {each if count != 1 else each[:-1]}" for each, count in self.counts.items())
        return f"Read {said}" + (f"; {self.wrong} fault{'s' if self.wrong != 1 else ''}, below" if self.wrong else "")

    def by_id(self, kind: str, box: str) -> dict[str, Any]:
        """Parts of a kind under the ids they will have; of two with the same the second shows its place."""
        found: dict[str, Any] = {}
        for each, part in self.parts:
            if each == kind:
                own = f"{box}/{part.id.partition('/')[2] if part.id else part.name}"
                found[own if own not in found else f"{own} ({len(found) + 1})"] = part
        return found


def read_pasted(raw: bytes, kind: str | None = None, where: str = "pasted") -> Pasted:
    """Read a table with its headings, or parts typed one a line.

    Parameters
    ----------
    raw : bytes
    kind : str, optional
        ``motors`` and so on, where the headings do not say it.
    where : str
        What faults name as its place.

    Raises
    ------
    InputFaults
        Nothing of it is a part.
    """
    parts, faults, columns = _read(raw, kind, where)
    if not parts:
        wrong = [fault for fault in faults if fault.kind == "fault"]
        raise InputFaults(wrong or [Fault(where, rule="holds no part", hint="the first line names the columns")])
    return Pasted(parts=parts, faults=faults, columns=columns)


def _read(raw: bytes, kind: str | None, where: str) -> tuple[list[tuple[str, Any]], list[Fault], list[str]]:
    """Parts by kind, what is to be said, and which column was read as which."""
    from propmatch_plugins.reading.delimited import grid_of
    from propmatch_plugins.reading.preview import preview_of

    grid = grid_of(raw, where, Path())
    typed = _typed(raw, kind, where) if len(grid.header) == 1 or _typed_line(raw, kind, where) else ([], [])
    if typed[0]:
        return *typed, []
    if not grid.header:
        return [], grid.faults, []
    preview = preview_of(grid, kind, None, None)
    if typed[1] and not preview.parts and re.search(r"\d", grid.header[0]):
        return *typed, []
    kindless = "say which kind: propmatch parts motors --add, or controllers, packs, propellers"
    faults = [
        attrs.evolve(fault, hint=kindless) if fault.rule == "cannot tell what the rows are" else fault
        for fault in preview.faults
    ]
    return list(preview.parts), faults, [str(column) for column in preview.columns]


def _lines(raw: bytes) -> list[tuple[int, str]]:
    text = raw.decode("utf-8-sig", errors="replace")
    return [(at, line.strip()) for at, line in enumerate(text.splitlines(), start=1)
            if line.strip() and not line.startswith("#")]  # fmt: skip


def _typed_line(raw: bytes, kind: str | None, where: str) -> bool:
    """Whether the first line is a part itself and no heading."""
    from propmatch.records.typed import looks_typed, read_part

    first = next((line for _, line in _lines(raw)), "")
    if "\t" in first or ";" in first:
        return False
    first = _without_make(first)
    return looks_typed(first) or (kind is not None and read_part(KINDS[kind], first, where).part is not None)


def _without_make(line: str) -> str:
    """A line without the words before a propeller's size: make and line are part of its name."""
    return re.sub(r"^(?:[^\W\d]\S*\s+)+(?=[\d.]+\s*x\s*[\d.])", "", line, flags=re.IGNORECASE)


def _typed(raw: bytes, kind: str | None, where: str) -> tuple[list[tuple[str, Any]], list[Fault]]:
    """Parts typed one a line, of the kind given or of the one kind that understands a line."""
    from propmatch.records.typed import kind_of_name, read_part

    parts: list[tuple[str, Any]] = []
    faults: list[Fault] = []
    for at, line in _lines(raw):
        place = f"{where}:{at}"
        tried = {each: read_part(KINDS[each], _without_make(line), place) for each in ((kind,) if kind else KINDS)}
        good = {each: read for each, read in tried.items() if read.part is not None}
        if len(good) == 1:
            ((each, read),) = good.items()
            notes = "; ".join(assumed.text for assumed in read.assumptions)
            parts.append((each, attrs.evolve(read.part, name=line, notes=notes or None)))
        elif kind:
            faults += tried[kind].faults
        else:
            likely = kind_of_name(line) or min(good or tried, key=lambda each: len(tried[each].faults))
            why = next((str(fault) for fault in tried[likely].faults), "").removeprefix(f"{place}: ")
            rule = f"may be {' or '.join(good)}" if good else f"cannot be read; as one of the {likely}: {why}"
            hint = f"say which kind: propmatch parts {likely} --add" if good else ""
            faults.append(Fault(place, value=line, rule=rule, hint=hint))
    return parts, faults
