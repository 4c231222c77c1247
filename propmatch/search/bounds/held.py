"""Which combinations surely fly as long as asked, within what motors, controller and pack bear in every phase.

Of each drive a pack current J is known that keeps the rating, the cut-off and the time asked for down to a charge q,
where E is least and R_b greatest: there J leaves the pack V = E - R_b J. A held thrust takes I and V_c of each of n
motors, and from a pack at v the current I_b(v) = I_acc + n V_c I/((1 - k) v + k V_c), which falls with v. Where I_b(V)
<= J and V_c <= V, E - R_b I_b(v) - v is not negative at v = V and not positive at v = E, so the balance lies between:
the pack gives at most J, and the throttle V_c/v is at most 1. More charge, more E and less R_b, only raises v. I and
V_c rise with mass, so the node above stands for the combination. Shares that draw J at most down to q, after timed
phases that draw J or what full throttle may, last at least as long as the charge left over J. Beyond q they draw at
most n I + I_acc, since no throttle exceeds 1.
"""

from typing import Any

import numpy as np

from propmatch.checks.setting import Setting
from propmatch.models.arrays import Flags, Floats, Index
from propmatch.search.bounds.drives import Drives
from propmatch.search.bounds.tables import HELD, PropellerTables
from propmatch.train import line

__all__ = ["SureFlights"]

_LESS = 1.0 - 1e-3
"""By which limits are lowered: above rounding and what straight lines between Gauss nodes may differ from the curve."""
_LEAST_S = 1.0
"""Time that the shares must be left, if nothing else is asked for."""
_ENDS = (0.0, 0.2, 0.4, 0.6)
"""Charges above the reserve down to which it is tried, as shares of what is used."""
_CHUNK = 12288
"""Lanes in work at a time, so that what they need stays in the cache."""


class SureFlights:
    """Drives of a block, and for each held phase speed and torque of the node above, NaN where that says nothing."""

    def __init__(self, tables: PropellerTables, drives: Drives) -> None:
        self._tables, self._drives, m = tables, drives, drives.motors
        setting, self._held = tables.setting, []
        self._phases, self._limits, self._ohm = setting.phases, setting.brief.limits, line.fixed_ohm(m)
        for one in tables.held:
            if one is not None:
                _, table = one
                both = (table.kind[:, :-1] == HELD) & (table.kind[:, 1:] == HELD)
                self._held.append([np.where(both, x[:, 1:], np.nan).ravel() for x in (table.speed, table.torque)])
        with np.errstate(all="ignore"):
            # what full throttle draws where its current keeps a threshold
            self._most_a = np.minimum(drives.steady_a, (_LESS**2 * drives.sustained_a - m.radio_a) / m.count)
            self._full = drives.threshold(drives.full, self._most_a, tables)

    @staticmethod
    def known(setting: Setting) -> bool:
        """Whether this says anything of a setting: of shares held level or climbing, other phases so or at a throttle.

        Height is not lost then but at a throttle, which only cuts that phase short.
        """
        return any(p.share is not None for p in setting.phases) and all(
            p.to_height_m is None and (p.climb_m_s >= 0 if p.throttle is None else p.share is None and p.throttle > 0)
            for p in setting.phases
        )

    def __call__(self, propeller: Index, drive: Index) -> Flags:
        """Of combinations (N,) of the block that keep the limits of full throttle, those that surely fly."""
        out, ends = np.zeros(propeller.size, dtype=bool), _ENDS if self._phases[-1].share is not None else _ENDS[:1]
        rest = np.arange(propeller.size)
        with np.errstate(all="ignore"):
            for end in ends:
                columns = self._down_to(end)
                for part in np.array_split(rest, -(-rest.size // _CHUNK)) if rest.size else ():
                    out[part] = self._flies(propeller[part], drive[part], *columns)
                rest = rest[~out[rest]]
        return out

    def _down_to(self, end: float) -> tuple[Floats, Floats, Floats, Floats]:
        """V, greatest I, b and a of the drives (D,) down to a charge: n V_c I - a V_c <= b says I_b(V) <= J."""
        drives, limits, m = self._drives, self._limits, self._drives.motors
        supply = line.Supply.of(m, slice(None))
        reserve, least_v = float(limits.reserve_charge or 0.0), drives.chemistry.flown_to_v(limits.cutoff_cell_v)
        last = reserve + end * (1.0 - reserve)
        coulombs = 3600.0 * drives.of_pack["capacity_ah"] * _LESS

        def bears(charge: Any) -> Floats:
            """Greatest pack current within the rating and above the cut-off."""
            spare = drives.open_v(charge) - drives.of_pack["cells"] * least_v
            most = spare / np.maximum(drives.sustained_ohm(charge), 1e-12)
            return np.asarray(np.minimum(drives.sustained_a, most) * _LESS)

        draws = {
            i: line.pack_current_a(supply, np.minimum(self._most_a, drives.most_a), p.throttle)
            for i, p in enumerate(self._phases)
            if p.throttle is not None
        }
        held_s = sum(p.seconds or 0.0 for p in self._phases if p.throttle is None)
        first = next(i for i, p in enumerate(self._phases) if p.share is not None)
        most = bears(last)
        timed = sum((self._phases[i].seconds or 0.0) * drawn for i, drawn in draws.items())
        after_first = np.maximum(1.0 - (timed + held_s * most) / coulombs, last)
        for i, drawn in draws.items():
            most = np.where(drawn <= bears(after_first if i < first else last), most, np.nan)
        asked_s = max(60.0 * (limits.min_flight_minutes or 0.0) - held_s, _LEAST_S)
        most = np.minimum(most, ((1.0 - last) * coulombs - timed) / (asked_s + held_s))
        volts = drives.open_v(last) - drives.sustained_ohm(last) * most
        given = most - m.radio_a
        motor_a = drives.phase_a * _LESS
        if end:
            motor_a = np.minimum(motor_a, (drives.sustained_a * _LESS - m.radio_a) / m.count)
        return np.where(drives.odd, np.nan, volts), motor_a, given * (1.0 - m.loss) * volts, given * m.loss

    def _flies(
        self, p: Index, d: Index, volts: Floats, motor_a: Floats, watts: Floats, loss_a: Floats
    ) -> Flags:  # fmt: skip
        drives, tables, m = self._drives, self._tables, self._drives.motors
        at = p * tables.nodes + drives.node.take(d) - p
        out = np.ones(p.size, dtype=bool)
        for speed, torque in self._held:
            u = speed.take(at)
            current = drives.current_a(d, u, torque.take(at))
            w = line.lanes_of(m.gear_ratio, d) * u
            behind = line.behind_v(m, w, current, self._ohm.take(d), d)
            out &= (behind <= volts.take(d)) & (current <= motor_a.take(d))
            out &= behind * (m.count * current - loss_a.take(d)) <= watts.take(d)
        if any(phase.throttle is not None for phase in self._phases):
            worst = tables.curves.of_cells(tables.curves.torque_worst, p, self._full.cell.take(d))
            out &= (worst <= self._full.torque_nm.take(d)) | (drives.most_a <= self._most_a).take(d)
        return out
