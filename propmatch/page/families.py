"""What the page is told of propeller families: how each looks, drawn to scale, and the key of three questions."""

from typing import Any

from propmatch.catalogue.catalogue import Catalogue
from propmatch.questions.familykey import which_family
from propmatch.records.blades import BENDS, FAMILIES, QUESTIONS
from propmatch.sheet.bladedrawing import blade_svg
from propmatch.units import INCH_M, MM_M
from propmatch.words.bladewords import key_sentence

__all__ = ["families_answer", "family_key_answer"]


def families_answer(diameter_in: float | None = None) -> list[dict[str, Any]]:
    """Each family as plain data with its drawing; the chord in mm too where a diameter is named."""
    size = None if diameter_in is None else diameter_in * INCH_M / MM_M
    return [
        {
            "family": name, "look": family.look, "thickness": family.thickness, "stiffness": family.stiffness,
            "sizes": family.sizes, "chord": family.chord_text, "chord_75_over_diameter": family.chord,
            "chord_75_over_diameter_low": family.chord_range[0], "chord_75_over_diameter_high": family.chord_range[1],
            "svg": blade_svg(name, diameter_mm=size),
        }
        for name, family in FAMILIES.items()
    ]  # fmt: skip


def family_key_answer(catalogue: Catalogue, text: str) -> dict[str, Any]:
    """The key for a propeller typed with its answers: sentence, chances, what is picked, and the three questions.

    Of no propeller, families and questions alone.

    Raises
    ------
    InputFaults
        Every fault of propeller and answers.
    """
    asked = {"questions": QUESTIONS, "bends": BENDS}
    if not text.strip():
        return {**asked, "sentence": "", "chances": {}, "picked": None, "families": families_answer()}
    key = which_family(text, catalogue)
    return {
        **asked, "sentence": key_sentence(key), "chances": dict(key.chances), "picked": key.picked,
        "families": families_answer(key.propeller.diameter_in),
    }  # fmt: skip
