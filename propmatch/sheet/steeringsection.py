"""Room for the propeller, roll and yaw on the sheet."""

from propmatch.checks.steering import Steering
from propmatch.questions.cells import BASES
from propmatch.sheet.case import Case, Section

__all__ = ["steering_of", "steering_section"]


def steering_of(case: Case) -> Steering:
    """Of the design and its other cell counts, packs of the same energy."""
    return case.comparison.placing[BASES[0]].steering


def steering_section(case: Case) -> Section:
    """The readings, and what they leave out."""
    found = steering_of(case)
    return Section(
        name="steering", title="Does the propeller clear, and what does full throttle do in roll and yaw?",
        points=found.readings(show=case.shown.speed_text), text=("Left out: " + " ".join(found.notes),),
    )  # fmt: skip
