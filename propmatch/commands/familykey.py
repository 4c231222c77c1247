"""``propmatch parts --which-family``: which family a propeller is of, by three questions that need no picture."""

from pathlib import Path
from typing import TYPE_CHECKING

from propmatch.commands.output import Reply, show
from propmatch.commands.outputs import check_file
from propmatch.words.shown import wrapped

if TYPE_CHECKING:
    from propmatch.catalogue.catalogue import Catalogue

__all__ = ["show_key"]


def _drawn(path: Path | None, force: bool) -> list[str]:
    """Write the drawing where a file is named; a sentence that says so."""
    if path is None:
        return []
    from propmatch.files import write_file
    from propmatch.sheet.bladedrawing import families_svg

    return [f"Drawn in {write_file(path, families_svg(), force=force)}."]


def show_key(catalogue: "Catalogue", text: str, drawing: Path | None, form: str, *, force: bool) -> None:
    """Chances of each family by size, pitch and blades and by the answers given; the questions that are still open."""
    from propmatch.questions.familykey import which_family
    from propmatch.records.blades import FAMILIES
    from propmatch.words.bladewords import key_blocks, key_sentence

    check_file("--drawing", drawing, force=force, endings=(".svg",))
    key = which_family(text, catalogue, "--which-family")
    rows = [
        {"family": name, "chance": chance, "chance_by_size": key.before.get(name, 0.0),
         "chord_75_over_diameter": FAMILIES[name].chord, "look": str(FAMILIES[name])}
        for name, chance in key.chances.items()
    ]  # fmt: skip
    show(
        Reply(
            command="parts",
            headline=[*wrapped(key_sentence(key)), *_drawn(drawing, force)],
            blocks=key_blocks(key),
            rows=rows,
            extra={"picked": key.picked, "answers": key.answers, "questions": key.open_questions},
        ),
        form=form,
    )
