"""The search behind ``propmatch match``: cell counts typed, progress shown, the way of searching chosen."""

from typing import TYPE_CHECKING, Any

from propmatch.commands.progress import progress_line
from propmatch.commands.trains import LazyCatalogue
from propmatch.faults import Fault, InputFaults

if TYPE_CHECKING:
    from propmatch.records.brief import Brief
    from propmatch.search.matching import Shortlist

__all__ = ["cell_counts", "find_shortlist", "with_cells"]


def cell_counts(text: str) -> tuple[int, ...]:
    """``2,3`` or ``2S,3S`` as cell counts, each 1 to 6 and named once."""
    counts: list[int] = []
    faults: list[Fault] = []
    for piece in text.split(","):
        word = piece.strip().upper().removesuffix("S")
        if word not in {"1", "2", "3", "4", "5", "6"}:
            faults.append(Fault("--cells", value=piece, rule="must be cell counts of 1 to 6, such as 2,3"))
        elif int(word) in counts:
            faults.append(Fault("--cells", value=piece, rule="names a cell count twice"))
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
            count=options["count"] or None, exhaustive=options["exhaustive"], on_paper=options["on_paper"],
        )  # fmt: skip
