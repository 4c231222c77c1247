"""The operating point as a result: everything that follows from the speed at which the torques balance.

Source: none needed, definitions and sums of powers.
"""

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

import attrs
import numpy as np
from numpy.typing import NDArray

from propmatch.models import controller, motor, propeller
from propmatch.models.arrays import Floats, Number
from propmatch.records.estimates import Assumption
from propmatch.status import Flag, Status, StatusError
from propmatch.tablehtml import pairs_html, table_html
from propmatch.train import line
from propmatch.train.lanes import TrainLanes

if TYPE_CHECKING:
    import pandas as pd

__all__ = ["POINT_FIELDS", "Drive", "OperatingPoint", "point_fields"]

_TIP_MACH_REMARK = 0.8
_HTML_LANES = 20


@attrs.frozen(kw_only=True, eq=False)
class OperatingPoint:
    """Where motor and propeller torque balance, and all that follows; floats for scalar input, else arrays.

    rpm, torque, pitch speed and tip Mach are one propeller's, motor_* one motor's; thrust, shaft power, heat and pack
    values are the whole train's. A lane without an answer is NaN, its ``status`` says why.

    Attributes
    ----------
    rpm, motor_rpm : [rpm]
    advance_ratio : J = V/(n D) [-]
    thrust_n : [N]; torque_nm : [N m]; shaft_power_w : into the propellers [W]
    motor_current_a, motor_voltage_v, motor_heat_w : I, V_m = K w + R(w) I, V_m I less shaft power
    throttle : duty 0..1, not stick position
    pack_current_a, pack_voltage_v, cell_voltage_v : terminal values
    pack_power_w : pack voltage x pack current [W]
    heat_w : everything lost, pack included, so that E I_pack = shaft_power_w + heat_w + V_t I_acc
    motor_efficiency, propeller_efficiency : shaft/electrical and thrust power/shaft
    system_efficiency : thrust power over pack_power_w
    tip_mach : helical; pitch_speed_m_s : rpm x pitch
    status : Status (array of its values); flags : Flag (likewise)
    assumptions : estimates that stand in for numbers nobody stated
    conditions : airspeed_m_s and charge it was asked for, by name, in the shape of the fields; empty inside the engine
    """

    rpm: Any
    motor_rpm: Any
    advance_ratio: Number
    thrust_n: Any
    torque_nm: Any
    shaft_power_w: Any
    motor_current_a: Any
    motor_voltage_v: Any
    motor_heat_w: Any
    throttle: Any
    pack_current_a: Any
    pack_voltage_v: Any
    cell_voltage_v: Any
    pack_power_w: Any
    heat_w: Any
    motor_efficiency: Any
    propeller_efficiency: Any
    system_efficiency: Any
    tip_mach: Any
    pitch_speed_m_s: Any
    status: Any
    flags: Any
    assumptions: tuple[Assumption, ...] = ()
    conditions: Mapping[str, Any] = attrs.field(factory=dict)

    def to_frame(self) -> "pd.DataFrame":
        """One row per lane: what it was asked for, then columns named as the attributes."""
        import pandas as pd

        data: dict[str, Any] = self._columns(POINT_FIELDS)
        data["status"] = [Status(int(s)).name for s in data["status"]]
        data["flags"] = [int(f) for f in data["flags"]]
        return pd.DataFrame(data)

    def _columns(self, names: Sequence[str]) -> dict[str, Any]:
        """Conditions and fields by name, each (N,)."""
        fields = {name: np.ravel(getattr(self, name)) for name in names}
        lanes = max(column.size for column in fields.values())
        return {name: np.broadcast_to(np.ravel(each), (lanes,)) for name, each in {**self.conditions, **fields}.items()}

    def __repr__(self) -> str:
        """A line of what a lane gives; all of it is in ``to_frame()``."""
        return f"OperatingPoint of {np.size(self.status)} lanes: " + ", ".join(
            f"{name} {_span(getattr(self, name))}" for name in _SHORT
        )

    def _repr_html_(self) -> str:
        statuses = [Status(int(s)).name for s in np.ravel(self.status)]
        columns = {name: column.tolist() for name, column in self._columns(POINT_FIELDS[:-2]).items()}
        if np.ndim(self.status) == 0:
            return pairs_html({**{name: column[0] for name, column in columns.items()}, "status": statuses[0]})
        rows = [
            [lane, *(column[lane] for column in columns.values()), status]
            for lane, status in enumerate(statuses[:_HTML_LANES])
        ]
        caption = f"{len(statuses)} lanes" + (f", the first {_HTML_LANES}" if len(statuses) > _HTML_LANES else "")
        return table_html(("lane", *columns, "status"), rows, caption=caption)

    def raise_for_status(self) -> "OperatingPoint":
        """Return self, or raise StatusError naming every lane without an answer."""
        bad = [(i, Status(int(s))) for i, s in enumerate(np.ravel(self.status)) if s > Status.OFF]
        if bad:
            raise StatusError("; ".join(f"lane {i}: {s.meaning}" for i, s in bad))
        return self

    @property
    def remarks(self) -> tuple[str, ...]:
        """What the reader must know: statuses and flags that occur, in words."""
        statuses = sorted({int(s) for s in np.ravel(self.status)} - {int(Status.OK)})
        flags = int(np.bitwise_or.reduce(np.ravel(np.asarray(self.flags, dtype=np.int64)), initial=0))
        return tuple(Status(s).meaning for s in statuses) + Flag(flags).remarks


POINT_FIELDS = tuple(a.name for a in attrs.fields(OperatingPoint) if a.name not in ("assumptions", "conditions"))
_SHORT = ("rpm", "thrust_n", "motor_current_a", "pack_current_a", "throttle")


def _span(values: Any) -> str:
    """One number, or the least and the greatest."""
    finite = np.ravel(values)[np.isfinite(np.ravel(values))]
    if not finite.size:
        return "-"
    low, high = float(finite.min()), float(finite.max())
    return f"{low:.4g}" if low == high else f"{low:.4g} to {high:.4g}"


@attrs.define
class Drive:
    """One propeller's speed [rad/s], torque and thrust, and its motor's current; 0 where the motor is off."""

    speed: Floats
    torque: Floats
    thrust: Floats
    current: Floats

    @classmethod
    def stopped(cls, n: int) -> "Drive":
        return cls(*np.zeros((4, n)))

    def place(self, run: Any, *found: Floats) -> None:
        """Put the numbers found in their lanes."""
        for mine, new in zip((self.speed, self.torque, self.thrust, self.current), found, strict=True):
            mine[run] = new


def point_fields(
    p: TrainLanes,
    drive: Drive,
    airspeed: Floats,
    throttle: Floats,
    open_v: Floats,
    pack_ohm: Floats,
    sound: Floats,
    status: NDArray[np.int8],
) -> dict[str, Any]:
    """Everything that follows from the operating point; lanes with a status above OFF become NaN."""
    u, torque, current = drive.speed, drive.torque, drive.current
    rev_s = u / (2.0 * np.pi)
    rpm = 60.0 * rev_s
    w = p.gear_ratio * u
    thrust = p.count * drive.thrust
    no_load = line.no_load_a(p, w)
    shaft = p.count * torque * u
    idle = p.k * w * no_load + (p.k - p.k_torque) * w * (current - no_load)
    ohm = line.ohm_at(p, p.resistance_ohm, w)
    winding = ohm * current**2
    per_motor = controller.pack_current_per_motor_a(current, throttle, p.loss)
    pack_current = p.count * per_motor + p.radio_a
    pack_v = open_v - pack_ohm * pack_current
    gear_loss = p.k * current * w - idle - torque * u
    chopper = pack_v * (per_motor - throttle * current)
    lost = winding + idle + p.controller_ohm * current**2 + chopper + gear_loss
    electrical = pack_v * pack_current
    j = propeller.advance_ratio(airspeed, rev_s, p.diameter_m)
    tip = propeller.tip_mach(rev_s, p.diameter_m, airspeed, sound)
    s, which = p.stack, p.propeller
    flags = np.zeros(u.size, dtype=np.int16)
    for flag, where in (
        (Flag.RPM_BELOW_TABLE, rpm < s.rpm_min[which]),
        (Flag.RPM_ABOVE_TABLE, rpm > s.rpm_max[which]),
        (Flag.ADVANCE_RATIO_BEYOND_TABLE, j > s.j_max[which]),
        (Flag.REGENERATING, current < 0),
        (Flag.TIP_MACH_HIGH, tip > _TIP_MACH_REMARK),
    ):
        flags |= where * np.int16(flag)
    fields: dict[str, Any] = {
        "rpm": rpm,
        "motor_rpm": p.gear_ratio * rpm,
        "advance_ratio": j,
        "thrust_n": thrust,
        "torque_nm": torque,
        "shaft_power_w": shaft,
        "motor_current_a": current,
        "motor_voltage_v": motor.terminal_voltage_v(w, current, p.k, ohm),
        "motor_heat_w": winding + idle,
        "throttle": throttle,
        "pack_current_a": pack_current,
        "pack_voltage_v": pack_v,
        "cell_voltage_v": pack_v / p.cells,
        "pack_power_w": electrical,
        "heat_w": p.count * lost + pack_ohm * pack_current**2,
        "motor_efficiency": motor.efficiency(w, current, no_load, p.k, ohm, p.k_torque),
        "propeller_efficiency": propeller.efficiency(thrust, airspeed, shaft),
        "system_efficiency": propeller.efficiency(thrust, airspeed, electrical),
        "tip_mach": tip,
        "pitch_speed_m_s": propeller.pitch_speed_m_s(rpm, p.pitch_in),
    }
    off, failed = status == Status.OFF, status > Status.OFF
    if off.any():
        flags[off] = 0
        stopped: dict[str, Any] = {"advance_ratio": np.nan, "motor_heat_w": 0.0, "heat_w": pack_ohm * p.radio_a**2}
        fields |= {name: np.where(off, value, fields[name]) for name, value in stopped.items()}
    if failed.any():
        flags[failed] = 0
        fields = {name: np.where(failed, np.nan, value) for name, value in fields.items()}
    return fields | {"status": status, "flags": flags}
