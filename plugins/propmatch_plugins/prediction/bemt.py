"""Blade-element momentum theory, solved for the inflow angle of every element at once.

The force of an element equals the momentum it leaves in its annulus, with Prandtl's tip factor F. In units of
Omega r, with s = B c/(2 pi r), lam = V/(Omega r), Cn = cl cos phi - cd sin phi, Ct = cl sin phi + cd cos phi:

    h(phi) = 4 F sin^2 phi - s Cn - lam (4 F sin phi cos phi + s Ct) = 0
    W/(Omega r) = 4 F sin phi/(4 F sin phi cos phi + s Ct)

h is negative at phi = 0+ and positive at pi/2 for a blade that lifts at phi = 0, so the root is bracketed at every
airspeed, V = 0 included, and no denominator can vanish in the search.

Sources: H. Glauert, The Elements of Aerofoil and Airscrew Theory, 1926 (momentum and tip factor); bracketing in phi
after S. A. Ning, Wind Energy 17 (2014) 1327-1345; section data: an analytic polar, fitted.
"""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

__all__ = ["BladeCurves", "SectionPolar", "blade_stations", "solve_blade"]

FloatArray = NDArray[np.float64]

RESIDUAL_LIMIT = 1e-6
REFERENCE_SECTION_REYNOLDS = 5e4
_HUB = 0.12
_STATIONS = 16
_BISECTIONS, _MOST_STEPS = 4, 60


@dataclass(frozen=True)
class SectionPolar:
    """Analytic lift and drag of a small cambered section, q = Re/5e4 held in 0.1 to 6.

    Beyond the disk Reynolds number ``most_reynolds`` of the measurements its logarithm counts ``beyond`` times.
    cl = slope q^slope_exponent (alpha - zero_lift), limited smoothly at cl_max q^0.08 [1 + 0.84 (1 - r/R)^2] (the
    bracket is the stall delay of a rotating blade; downwards 0.7 of it); cd = drag q^-drag_exponent + induced
    (cl - 0.45)^2; blended to a flat plate (2 sin a cos a, 2 sin^2 a) between 1 and 1.45 times the stall angle.
    Angles in rad. The numbers are fitted to whole propellers and absorb three-dimensional effects.
    """

    slope: float
    zero_lift_rad: float
    cl_max: float
    drag: float
    drag_exponent: float
    induced: float
    slope_exponent: float
    most_reynolds: float = math.inf
    beyond: float = 1.0

    def limited(self, disk_reynolds: FloatArray) -> FloatArray:
        """Re_D as it counts, of the shape of ``disk_reynolds``."""
        over = np.maximum(disk_reynolds / self.most_reynolds, 1.0)
        return np.asarray(disk_reynolds * over ** (self.beyond - 1.0))


@dataclass(frozen=True)
class BladeCurves:
    """``ct``, ``cp``: integrated over the blade; ``unconverged``: elements."""

    ct: FloatArray
    cp: FloatArray
    unconverged: int


def blade_stations(count: int = _STATIONS) -> tuple[FloatArray, FloatArray]:
    """Radius fractions r/R (N,) and weights (N,) of the integral from hub to tip, finer near the tip."""
    node, weight = np.polynomial.legendre.leggauss(count)
    s, w = 0.5 * (node[::-1] + 1.0), 0.5 * weight[::-1]
    power = 1.6
    return 1.0 - (1.0 - _HUB) * s**power, (1.0 - _HUB) * power * s ** (power - 1.0) * w


class _Elements:
    """Everything of the residual that does not change with the inflow angle."""

    def __init__(
        self,
        polar: SectionPolar,
        radius: FloatArray,
        chord: FloatArray,
        angle_rad: FloatArray,
        blades: FloatArray | float,
        advance_ratio: FloatArray,
        disk_reynolds: FloatArray,
    ) -> None:
        self.lam = advance_ratio / (np.pi * radius)
        self.solidity = blades * chord / (2.0 * np.pi * radius)
        self.sin_beta, self.cos_beta = np.sin(angle_rad), np.cos(angle_rad)
        self.beta = angle_rad
        section_reynolds = polar.limited(disk_reynolds) * radius * chord * np.sqrt(1.0 + self.lam**2)
        q = np.clip(section_reynolds / REFERENCE_SECTION_REYNOLDS, 0.1, 6.0)
        log_q = np.log(q)
        self.slope = polar.slope * np.exp(polar.slope_exponent * log_q)
        self.upper = polar.cl_max * np.exp(0.08 * log_q) * (1.0 + 0.84 * (1.0 - radius) ** 2)
        self.drag = polar.drag * np.exp(-polar.drag_exponent * log_q)
        self.stall = self.upper / self.slope
        self.polar = polar
        self.tip = -0.5 * blades * (1.0 - radius) / radius

    def subset(self, chosen: NDArray[np.bool_]) -> "_Elements":
        """The chosen elements alone, in one row."""
        out = object.__new__(_Elements)
        for name, value in vars(self).items():
            whole = isinstance(value, np.ndarray)
            setattr(out, name, np.broadcast_to(value, chosen.shape)[chosen] if whole else value)
        return out

    def section(self, phi: FloatArray, sin_phi: FloatArray, cos_phi: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Lift and drag coefficient at the angle of attack beta - phi."""
        reach = self.beta - phi - self.polar.zero_lift_rad
        below = reach < 0.0
        limit = np.where(below, 0.7 * self.upper, self.upper)
        linear = self.slope * reach
        ratio = linear / limit
        square = ratio * ratio
        attached = linear / np.sqrt(np.sqrt(1.0 + square * square))
        drag = self.drag + self.polar.induced * (attached - 0.45) ** 2
        blend = np.clip((np.abs(reach) / np.where(below, 0.7 * self.stall, self.stall) - 1.0) / 0.45, 0.0, 1.0)
        blend = blend * blend * (3.0 - 2.0 * blend)
        sin_a = self.sin_beta * cos_phi - self.cos_beta * sin_phi
        cos_a = self.cos_beta * cos_phi + self.sin_beta * sin_phi
        plate = 2.0 * sin_a
        lift = attached + blend * (plate * cos_a - attached)
        drag = drag + blend * (np.maximum(plate * sin_a, drag) - drag)
        return lift, drag

    def terms(self, phi: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
        """Residual h, s Cn, s Ct and 4 F sin phi."""
        sin_phi, cos_phi = np.sin(phi), np.cos(phi)
        lift, drag = self.section(phi, sin_phi, cos_phi)
        normal = self.solidity * (lift * cos_phi - drag * sin_phi)
        tangential = self.solidity * (lift * sin_phi + drag * cos_phi)
        tip = (8.0 / np.pi) * np.arccos(np.exp(self.tip / sin_phi)) * sin_phi
        residual = tip * sin_phi - normal - self.lam * (tip * cos_phi + tangential)
        return residual, normal, tangential, tip


def _inflow_angle(elements: _Elements, shape: tuple[int, ...]) -> FloatArray:
    """Root of h in (0, pi/2): bisection, then false position with halved weights (Illinois).

    Elements that have converged are set aside as soon as they are the larger part of those still worked on.
    """
    answer = np.empty(shape)
    left = np.ones(shape, dtype=bool)
    low = np.full(shape, 1e-7)
    high = np.full(shape, 0.5 * np.pi)
    h_low, h_high = elements.terms(low)[0], elements.terms(high)[0]
    phi = 0.5 * (low + high)
    last = np.zeros(shape)
    for step in range(_MOST_STEPS):
        h = elements.terms(phi)[0]
        open_ = ~(np.abs(h) < RESIDUAL_LIMIT)
        count = np.count_nonzero(open_)
        if not count:
            break
        if step >= _BISECTIONS and 2 * count < open_.size:
            answer[left] = phi.ravel()
            left[left] = open_.ravel()
            elements = elements.subset(open_)
            low, high, h_low, h_high, phi, last, h = (a[open_] for a in (low, high, h_low, h_high, phi, last, h))
        rises = h > 0.0
        side = np.where(rises, 1.0, -1.0)
        if step >= _BISECTIONS:
            again = side == last
            h_low = np.where(again & rises, 0.5 * h_low, h_low)
            h_high = np.where(again & ~rises, 0.5 * h_high, h_high)
        last = side
        high, h_high = np.where(rises, phi, high), np.where(rises, h, h_high)
        low, h_low = np.where(rises, low, phi), np.where(rises, h_low, h)
        if step < _BISECTIONS - 1:
            phi = 0.5 * (low + high)
        else:
            phi = np.where(np.abs(h) < 0.01 * RESIDUAL_LIMIT, phi, (low * h_high - high * h_low) / (h_high - h_low))
    answer[left] = phi.ravel()
    return answer


def solve_blade(
    polar: SectionPolar,
    *,
    radius: FloatArray,
    weight: FloatArray,
    chord: FloatArray,
    angle_rad: FloatArray,
    blades: FloatArray | float,
    advance_ratio: FloatArray,
    disk_reynolds: FloatArray,
) -> BladeCurves:
    """Thrust and power coefficient of blades described at N stations.

    Parameters
    ----------
    polar : section data
    radius, weight : (N,) r/R and integration weights, see ``blade_stations``
    chord, angle_rad : (..., N) c/R [-] and blade angle [rad], above the zero-lift angle
    blades : number, or array broadcasting with chord
    advance_ratio, disk_reynolds : (..., 1) J = V/(nD) and Re_D = rho Omega R^2/mu

    Returns
    -------
    BladeCurves with ct, cp of the common leading shape:
    CT = pi^2/8 int x^2 w^2 B c/R Cn dx, CP = pi^3/8 int x^3 w^2 B c/R Ct dx, w = W/(Omega r).
    """
    elements = _Elements(polar, radius, chord, angle_rad, blades, advance_ratio, disk_reynolds)
    shape = np.broadcast_shapes(elements.lam.shape, elements.slope.shape, elements.solidity.shape)
    phi = _inflow_angle(elements, shape)
    residual, normal, tangential, tip = elements.terms(phi)
    speed = tip / (tip * np.cos(phi) + tangential)
    load = (0.25 * np.pi**3) * radius**3 * speed**2 * weight
    return BladeCurves(
        ct=np.sum(load * normal, axis=-1),
        cp=np.pi * np.sum(load * radius * tangential, axis=-1),
        unconverged=int(np.sum(~(np.abs(residual) < RESIDUAL_LIMIT))),
    )
