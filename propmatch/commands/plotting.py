"""``--plot FILE`` of the commands that have a chart."""

from collections.abc import Callable, Mapping
from typing import TYPE_CHECKING, Any, TypeVar

import click

from propmatch.commands.outputs import check_file, force_option

if TYPE_CHECKING:
    from propmatch.records.parts import PowerTrain
    from propmatch.words.shown import Shown

__all__ = ["check_plot", "plot_option", "point_picture", "save_plot"]

F = TypeVar("F", bound=Callable[..., Any])


def plot_option(function: F) -> F:
    """--plot, --force."""
    return click.option("--plot", metavar="FILE", type=click.Path(), help="Draw it too: FILE.svg, .png or .pdf.")(
        force_option(function)
    )


def check_plot(options: Mapping[str, Any]) -> None:
    """Raise ``InputFaults`` for a file that cannot become a chart, before anything is worked out."""
    if options["plot"] is None:
        return
    from propmatch.sheet.picture import FORMATS, need

    need("matplotlib")
    check_file("--plot", options["plot"], force=options["force"], endings=FORMATS)


def save_plot(options: Mapping[str, Any], make: Callable[[], Any]) -> list[str]:
    """Draw and write where a file is named; a sentence that says so."""
    if options["plot"] is None:
        return []
    return [f"Drawn in {make().save(options['plot'], force=options['force'])}."]


def point_picture(train: "PowerTrain", question: Any, point: Any, shown: "Shown", draws: Any) -> Any:
    """The chart of an operating point with its bands: against what was swept, else against throttle."""
    import numpy as np

    from propmatch.sheet.bands import Band
    from propmatch.sheet.thrustcharts import sweep_chart, throttle_chart

    swept = question.swept
    if not swept:
        (speed,), (charge,) = question.airspeed_m_s, question.charge
        return throttle_chart(
            train, airspeed_m_s=speed, charge=charge, air=question.air, shown=shown,
            sure=None if draws.on_paper else draws.sure,
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
    names = () if draws.on_paper else ("thrust_n", "motor_current_a", "pack_current_a")
    bands = {name: Band.of(np.array(x), draws.of_each(name)) for name in names}
    title = f"Thrust and current against {quantity}"
    return sweep_chart(x, point, axis=axis, title=title, shown=shown, bands=bands)
