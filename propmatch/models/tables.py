"""Coefficient tables of propellers: the points as they came, and the one way to look them up."""

from collections.abc import Iterable
from functools import cached_property

import attrs
import numpy as np
from numpy.typing import ArrayLike

from propmatch.models.arrays import Flags, Floats
from propmatch.models.lookup import FlightReader, Workspace
from propmatch.models.surface import Surfaces, surfaces_of_each
from propmatch.units import RPM_RAD_S

__all__ = ["CoefficientTable", "Lookup"]


def _readonly(value: ArrayLike) -> Floats:
    array = np.array(value, dtype=np.float64)
    array.setflags(write=False)
    return array.view()


@attrs.frozen(eq=False)
class CoefficientTable:
    """Thrust and power coefficients of a propeller over advance ratio and rotational speed.

    They are those of :mod:`propmatch.models.propeller`.

    Attributes
    ----------
    rpm : (R,) [rpm], strictly rising and positive
    advance_ratio : (J,) [-], strictly rising from 0
    ct, cp : (R, J) [-]

    Raises
    ------
    ValueError
        Wrong shape, not finite, axes not strictly rising, advance ratio not starting at 0, static CP not positive;
        every fault in one message.
    """

    rpm: Floats = attrs.field(converter=_readonly)
    advance_ratio: Floats = attrs.field(converter=_readonly)
    ct: Floats = attrs.field(converter=_readonly)
    cp: Floats = attrs.field(converter=_readonly)

    def __repr__(self) -> str:
        """Its extent; the arrays are attributes."""
        return (
            f"CoefficientTable({self.rpm.size} speeds, {self.rpm[0]:g} to {self.rpm[-1]:g} rpm, "
            f"{self.advance_ratio.size} advance ratios to {self.advance_ratio[-1]:g})"
        )

    def __attrs_post_init__(self) -> None:
        faults = self.faults(self.rpm, self.advance_ratio, self.ct, self.cp)
        if faults:
            raise ValueError("coefficient table: " + "; ".join(faults))

    @staticmethod
    def faults(rpm: Floats, advance_ratio: Floats, ct: Floats, cp: Floats) -> list[str]:
        """Every rule the arrays break, in words; empty when the table is sound."""
        out = []
        shape = (rpm.size, advance_ratio.size)
        if rpm.ndim != 1 or advance_ratio.ndim != 1 or not rpm.size or advance_ratio.size < 2:
            out.append("rpm needs at least 1 and advance_ratio at least 2 values, each in one row")
            return out
        for name, array in (("rpm", rpm), ("advance_ratio", advance_ratio), ("ct", ct), ("cp", cp)):
            if not np.all(np.isfinite(array)):
                out.append(f"{name} holds a value that is not finite")
        for name, array in (("ct", ct), ("cp", cp)):
            if array.shape != shape:
                out.append(f"{name} has shape {array.shape}, expected (rpm, advance_ratio) = {shape}")
        with np.errstate(invalid="ignore"):
            rising, onward = (not np.any(np.diff(axis) <= 0) for axis in (rpm, advance_ratio))
        if rpm[0] <= 0 or not rising:
            out.append("rpm must be positive and strictly rising")
        if advance_ratio[0] != 0 or not onward:
            out.append("advance_ratio must start at 0 and be strictly rising")
        if cp.shape == shape and np.any(cp[:, 0] <= 0):
            out.append("cp at advance ratio 0 must be positive")
        return out

    def times(self, *, ct: float = 1.0, cp: float = 1.0, advance_ratio: float = 1.0) -> "CoefficientTable":
        """The table with its coefficients and advance ratios times these factors."""
        return CoefficientTable(
            rpm=self.rpm, advance_ratio=advance_ratio * self.advance_ratio, ct=ct * self.ct, cp=cp * self.cp
        )

    @cached_property
    def surfaces(self) -> Surfaces:
        """The table as the solver reads it: resampled once onto uniform axes, as bicubic cells."""
        return surfaces_of_each([self._arrays])[0]

    @property
    def _arrays(self) -> tuple[Floats, Floats, Floats, Floats]:
        return self.rpm, self.advance_ratio, self.ct, self.cp

    @property
    def _read(self) -> bool:
        """Whether the surfaces are made already; their slot is empty before."""
        try:
            object.__getattribute__(self, "surfaces")
        except AttributeError:
            return False
        return True

    @staticmethod
    def read_together(tables: "Iterable[CoefficientTable]") -> None:
        """Make the surfaces of several tables, which takes less time than one after the other."""
        fresh = list({id(table): table for table in tables if not table._read}.values())
        for table, made in zip(fresh, surfaces_of_each([each._arrays for each in fresh]), strict=True):
            object.__setattr__(table, "surfaces", made)

    def lookup(self, rpm: ArrayLike, advance_ratio: ArrayLike) -> "Lookup":
        """CT and CP at (rpm, J), broadcast, with masks that say where the table was held or continued.

        NaN where an argument is negative or not a number.
        """
        r, j = np.broadcast_arrays(np.asarray(rpm, np.float64), np.asarray(advance_ratio, np.float64))
        sound = (r >= 0) & (j >= 0)
        reader = FlightReader("cp", self.surfaces, np.zeros(1, dtype=np.intp), r.size, Workspace())
        reader.go(np.where(sound, r, 0.0).ravel() * RPM_RAD_S, np.where(sound, j, 0.0).ravel())
        return Lookup(
            cp=np.where(sound, reader.value().reshape(r.shape), np.nan),
            ct=np.where(sound, reader.other().reshape(r.shape), np.nan),
            rpm_below=r < self.rpm[0],
            rpm_above=r > self.rpm[-1],
            beyond=j > self.advance_ratio[-1],
        )


@attrs.frozen(kw_only=True, eq=False)
class Lookup:
    """Coefficients with the masks of where they are not the table's own."""

    ct: Floats
    cp: Floats
    rpm_below: Flags
    rpm_above: Flags
    beyond: Flags
