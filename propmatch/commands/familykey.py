"""``propmatch parts --which-family``: which family a propeller is of, by three questions that need no picture."""

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

from propmatch.commands.output import Reply, show
from propmatch.faults import Fault, InputFaults
from propmatch.words.shown import wrapped

if TYPE_CHECKING:
    from propmatch.catalogue.catalogue import Catalogue

__all__ = ["check_drawing", "save_drawing", "show_key"]


def check_drawing(path: Path | None) -> None:
    """Raise ``InputFaults`` for a file that cannot become a drawing, before anything is worked out."""
    if path is not None and path.suffix.lower() != ".svg":
        raise InputFaults([Fault("--drawing", value=str(path), rule="must end in .svg")])
    if path is not None and not path.absolute().parent.is_dir():
        raise InputFaults([Fault("--drawing", value=str(path), rule="its folder does not exist")])


def save_drawing(path: Path | None, make: Callable[[], str]) -> list[str]:
    """Write a drawing where a file is named; a sentence that says so."""
    if path is None:
        return []
    from propmatch.files import write_file

    write_file(path, make())
    return [f"Drawn in {path}."]


def show_key(catalogue: "Catalogue", text: str, drawing: Path | None, form: str) -> None:
    """Chances of each family by size, pitch and blades and by the answers given; the questions that are still open."""
    from propmatch.questions.familykey import which_family
    from propmatch.records.blades import FAMILIES
    from propmatch.sheet.bladedrawing import families_svg
    from propmatch.words.bladewords import key_blocks, key_sentence

    check_drawing(drawing)
    key = which_family(text, catalogue, "--which-family")
    rows = [
        {"family": name, "chance": chance, "chance_by_size": key.before.get(name, 0.0),
         "chord_75_over_diameter": FAMILIES[name].chord, "look": str(FAMILIES[name])}
        for name, chance in key.chances.items()
    ]  # fmt: skip
    show(
        Reply(
            command="parts",
            headline=[*wrapped(key_sentence(key)), *save_drawing(drawing, families_svg)],
            blocks=key_blocks(key),
            rows=rows,
            extra={"picked": key.picked, "answers": key.answers, "questions": key.open_questions},
        ),
        form=form,
    )
