"""``--plot FILE`` of the commands that have a chart."""

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import click

if TYPE_CHECKING:
    from propmatch.records.parts import PowerTrain
    from propmatch.words.shown import Shown

__all__ = ["check_plot", "plot_option", "point_picture", "save_plot"]

F = TypeVar("F", bound=Callable[..., Any])


def plot_option(function: F) -> F:
    """--plot."""
    return click.option(
        "--plot", metavar="FILE", type=click.Path(dir_okay=False), help="Draw it too: FILE.svg, .png or .pdf."
    )(function)


def check_plot(path: str | None) -> None:
    """Raise ``InputFaults`` for a file that cannot become a chart, before anything is worked out."""
    if path is None:
        return
    from propmatch.faults import Fault, InputFaults
    from propmatch.sheet.picture import FORMATS, need

    need("matplotlib")
    faults = []
    if Path(path).suffix.lower() not in FORMATS:
        faults.append(Fault("--plot", value=path, rule=f"must end in {', '.join(FORMATS)}"))
    if not Path(path).absolute().parent.is_dir():
        faults.append(Fault("--plot", value=path, rule="its folder does not exist"))
    if faults:
        raise InputFaults(faults)


def save_plot(path: str | None, make: Callable[[], Any]) -> list[str]:
    """Draw and write where a file is named; a sentence that says so."""
    if path is None:
        return []
    return [f"Drawn in {make().save(path)}."]


def point_picture(train: "PowerTrain", question: Any, point: Any, shown: "Shown", draws: Any) -> Any:
    """The chart of an operating point with its bands: against what was swept, else against throttle."""
    import numpy as np

    from propmatch.sheet.bands import Band
    from propmatch.sheet.thrustcharts import sweep_chart, throttle_chart

    swept = question.swept
    if not swept:
        (speed,), (charge,) = question.airspeed_m_s, question.charge
        return throttle_chart(
            train, airspeed_m_s=speed, charge=charge, air=question.air, shown=shown, sure=draws.sure
        )  # fmt: skip
    values = getattr(question, swept)
    scale, axis = {
        "throttle": (100.0, "throttle (duty), %"),
        "charge": (100.0, "charge left, %"),
        "airspeed_m_s": (shown.speed_of(1.0), f"airspeed, {shown.speed_unit}"),
        "thrust_n": (shown.thrust_of(1.0), f"thrust held, {shown.thrust_unit}"),
    }[swept]
    quantity = axis.partition(",")[0]
    x = [scale * value for value in values]
    bands = {
        name: Band.of(np.array(x), draws.of_each(name)) for name in ("thrust_n", "motor_current_a", "pack_current_a")
    }
    title = f"Thrust and current against {quantity}"
    return sweep_chart(x, point, axis=axis, title=title, shown=shown, bands=bands)
