"""Reads a folder of measured propellers: the form in which the open wind-tunnel dataset is kept for fitting.

Files: ``dynamic.csv`` (propeller, volume, diameter_in, pitch_in, blades, rpm, J, CT, CP), ``static.csv`` (..., rpm,
CT0, CP0), ``geometry.csv`` (..., r_over_R, c_over_R, beta_deg), ``diameters.csv`` (..., true_diameter_in).
Labels are LINE_SIZE with optional suffixes for blade count (_3b) and specimen (_spec2).
"""

import csv
import math
import re
import zlib
from collections import defaultdict
from dataclasses import dataclass, field, replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from propmatch.units import INCH_M
from propmatch_plugins.prediction.evidence import Anchor
from propmatch_plugins.prediction.families import Label

__all__ = ["MeasuredPropeller", "Sweep", "family_of_line", "read_measured"]

FloatArray = NDArray[np.float64]
_SAME_SPEED = 0.02


@dataclass(frozen=True)
class Sweep:
    """One speed of a wind-tunnel run: ``j``, ``ct``, ``cp`` (J,) with J rising."""

    rpm: float
    j: FloatArray
    ct: FloatArray
    cp: FloatArray

    @property
    def zero_thrust_j(self) -> float:
        """J at CT = 0, interpolated, or extrapolated when the last CT is below a quarter of the greatest."""
        below = np.flatnonzero(self.ct <= 0.0)
        if below.size and below[0] > 0:
            k = int(below[0])
        elif not below.size and self.ct.size > 2 and self.ct[-1] < 0.25 * np.max(self.ct):
            k = self.ct.size - 1
        else:
            return math.nan
        fall = (self.ct[k] - self.ct[k - 1]) / (self.j[k] - self.j[k - 1])
        return float(self.j[k] - self.ct[k] / fall) if fall < 0.0 else math.nan

    @property
    def peak_efficiency(self) -> float:
        """Greatest J CT/CP of the sweep, NaN when the sweep stops before the peak."""
        eta = self.j * self.ct / self.cp
        best = int(np.argmax(np.where(self.cp > 0.0, eta, -np.inf)))
        return float(eta[best]) if best < eta.size - 1 else math.nan


@dataclass
class MeasuredPropeller:
    """One specimen: label, line, family, sizes, static points (S,), sweeps and blade shape if known."""

    label: str
    volume: str
    line: str
    family: str | None
    model: str
    diameter_in: float
    pitch_in: float
    blades: int
    true_diameter_in: float
    static_rpm: FloatArray = field(default_factory=lambda: np.empty(0))
    static_ct: FloatArray = field(default_factory=lambda: np.empty(0))
    static_cp: FloatArray = field(default_factory=lambda: np.empty(0))
    sweeps: list[Sweep] = field(default_factory=list)
    geometry: FloatArray | None = None
    """(N, 3): r/R, c/R, blade angle [deg]."""

    @property
    def printed(self) -> Label:
        """Nominal size, blades and family."""
        return Label(self.diameter_in, self.pitch_in, self.blades, self.family)

    @property
    def diameter_m(self) -> float:
        """True diameter where known, else nominal [m]."""
        return self.true_diameter_in * INCH_M

    def static_point(self, *, thrust: bool = False) -> Anchor:
        """The middle static speed as read on a bench: shaft power, and thrust, with 3 % error of a seed of its own."""
        k = self.static_rpm.size // 2
        n, d = self.static_rpm[k] / 60.0, self.diameter_in * INCH_M
        noise = np.random.default_rng(zlib.crc32(f"{self.volume} {self.label}".encode())).normal(0.0, 0.03, 2)
        return Anchor(
            rpm=float(self.static_rpm[k]),
            shaft_power_w=float(self.static_cp[k] * math.exp(noise[0]) * 1.225 * n**3 * d**5),
            thrust_n=float(self.static_ct[k] * math.exp(noise[1]) * 1.225 * n**2 * d**4) if thrust else None,
        )

    @property
    def without_static_point(self) -> "MeasuredPropeller":
        """The same without the middle static speed."""
        k = self.static_rpm.size // 2
        rpm, ct, cp = (np.delete(each, k) for each in (self.static_rpm, self.static_ct, self.static_cp))
        return replace(self, static_rpm=rpm, static_ct=ct, static_cp=cp)


def read_measured(folder: str | Path) -> list[MeasuredPropeller]:
    """Every propeller of the folder that has a pitch, sorted by volume and label.

    Raises FileNotFoundError naming the missing file, ValueError for a missing column.
    """
    folder = Path(folder)
    families = family_of_line()
    static = _grouped(folder / "static.csv", "rpm", "CT0", "CP0")
    dynamic = _grouped(folder / "dynamic.csv", "rpm", "J", "CT", "CP")
    shapes = _grouped(folder / "geometry.csv", "r_over_R", "c_over_R", "beta_deg")
    sizes = _grouped(folder / "diameters.csv", "true_diameter_in")
    out = []
    for key in sorted(static.keys() | dynamic.keys()):
        volume, label = key
        record = (static.get(key) or dynamic[key])[0]
        diameter = float(record["diameter_in"])
        pitch = _pitch(record, label, diameter)
        if math.isnan(pitch):
            continue
        true = [float(r["true_diameter_in"]) for r in sizes.get(key, []) if r["true_diameter_in"]]
        line = label.partition("_")[0]
        points = np.array(
            sorted((float(r["rpm"]), float(r["CT0"]), float(r["CP0"])) for r in static.get(key, []))
        ).reshape(-1, 3)
        shape = np.array(
            [[float(r["r_over_R"]), float(r["c_over_R"]), float(r["beta_deg"])] for r in shapes.get(key, [])]
        ).reshape(-1, 3)
        out.append(
            MeasuredPropeller(
                label=label,
                volume=volume,
                line=line,
                family=families.get(line),
                model=re.sub(r"(_spec\d+|_[34]b)", "", label),
                diameter_in=diameter,
                pitch_in=pitch,
                blades=int(record["blades"]),
                true_diameter_in=true[0] if true else diameter,
                static_rpm=points[:, 0],
                static_ct=points[:, 1],
                static_cp=points[:, 2],
                sweeps=_sweeps(dynamic.get(key, [])),
                geometry=shape if len(shape) > 3 else None,
            )
        )
    return out


def family_of_line() -> dict[str, str]:
    """Family of each line the dataset's labels begin with, from ``lines.csv`` beside this file."""
    text = Path(__file__).with_name("lines.csv").read_text(encoding="utf-8")
    return {row["line"]: row["family"] for row in csv.DictReader(text.splitlines())}


def _grouped(path: Path, *needed: str) -> dict[tuple[str, str], list[dict[str, str]]]:
    out: dict[tuple[str, str], list[dict[str, str]]] = defaultdict(list)
    with path.open(newline="", encoding="utf-8") as stream:
        reader = csv.DictReader(stream)
        missing = {"propeller", "volume", *needed} - set(reader.fieldnames or ())
        if missing:
            raise ValueError(f"{path.name}: column {', '.join(sorted(missing))} missing")
        for row in reader:
            out[row["volume"], row["propeller"]].append(row)
    return dict(out)


def _pitch(record: dict[str, str], label: str, diameter_in: float) -> float:
    """Pitch of the label [in]; a label that names the blade angle at 75 % radius gives pi 0.75 D tan(angle)."""
    if record["pitch_in"]:
        return float(record["pitch_in"])
    angle = re.search(r"_(\d+)deg", label)
    if angle is None:
        return math.nan
    return 0.75 * math.pi * diameter_in * math.tan(math.radians(float(angle.group(1))))


def _sweeps(records: list[dict[str, str]]) -> list[Sweep]:
    """Runs at speeds within 2 % of each other are one sweep."""
    rows = np.array(sorted((float(r["rpm"]), float(r["J"]), float(r["CT"]), float(r["CP"])) for r in records)).reshape(
        -1, 4
    )
    out: list[Sweep] = []
    while len(rows):
        same = rows[:, 0] <= rows[0, 0] * (1.0 + _SAME_SPEED)
        group, rows = rows[same], rows[~same]
        group = group[np.argsort(group[:, 1], kind="stable")]
        group = group[np.concatenate([[True], np.diff(group[:, 1]) > 0.0])]
        if len(group) >= 4:
            out.append(Sweep(float(np.mean(group[:, 0])), *(group[:, k].copy() for k in (1, 2, 3))))
    return out
