"""The search behind ``propmatch match``: cell counts typed, progress shown, the way of searching chosen."""

from typing import TYPE_CHECKING, Any

from propmatch.commands.progress import progress_line
from propmatch.commands.trains import LazyCatalogue
from propmatch.faults import Fault, InputFaults

if TYPE_CHECKING:
    from propmatch.records.brief import Brief
    from propmatch.search.matching import Shortlist

__all__ = ["cell_counts", "find_shortlist", "listed_counts", "with_cells"]


def listed_counts(text: str) -> list[str]:
    """The cell counts of ``2,3S`` or ``2-4S``, as they are written but without the S; ranges whole."""
    out: list[str] = []
    for piece in text.upper().replace("S", "").split(","):
        ends = [end.strip() for end in piece.split("-")]
        if len(ends) == 2 and all(end.isdecimal() and len(end) <= 2 for end in ends) and int(ends[0]) <= int(ends[1]):
            out += map(str, range(int(ends[0]), int(ends[1]) + 1))
        else:
            out.append(piece.strip())
    return out


def cell_counts(text: str) -> tuple[int, ...]:
    """``2,3``, ``2S,3S`` or ``2-3S`` as cell counts, each 1 to 6 and named once."""
    counts: list[int] = []
    faults: list[Fault] = []
    for word in listed_counts(text):
        if word not in {"1", "2", "3", "4", "5", "6"}:
            faults.append(Fault("--cells", value=word, rule="must be cell counts of 1 to 6, such as 2,3 or 2-3"))
        elif int(word) in counts:
            faults.append(Fault("--cells", value=word, rule="names a cell count twice"))
        else:
            counts.append(int(word))
    if faults:
        raise InputFaults(faults)
    return tuple(counts)


def with_cells(brief: "Brief", text: str | None) -> "Brief":
    """The brief with other cell counts, or as it is."""
    from propmatch.records.fields import replace

    if text is None:
        return brief
    return replace(brief, limits=replace(brief.limits, cells=cell_counts(text)))


def find_shortlist(stock: LazyCatalogue, brief: "Brief", options: dict[str, Any], top: int) -> "Shortlist":
    """Match, showing progress where somebody watches."""
    from propmatch.search.matching import match

    with progress_line("matching") as progress:
        return match(
            brief, stock.catalogue, top=top, variant=options["variant"], progress=progress,
            count=options["count"] or None, exhaustive=options["exhaustive"],
            on_paper=options["on_paper"], within_s=options["within"],
        )  # fmt: skip
