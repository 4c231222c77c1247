"""Propeller families by what the eye and callipers see, and a key of three questions that picks one.

Which blade belongs to a family is our own reading.

Sources: chords and outlines of ``thin``, ``thick``, ``broad`` and ``wide``: medians over measured blades, J. B. Brandt,
R. W. Deters, G. K. Ananda, O. D. Dantsker, M. S. Selig, UIUC Propeller Database, vols 1 to 4; those of ``folding`` and
``racing``, thickness and stiffness: common practice, no published source.
"""

import math
from collections.abc import Mapping

import attrs

from propmatch.records.packuse import Z80

__all__ = [
    "BENDS",
    "FAMILIES",
    "MARK",
    "MEASURING_GUIDE",
    "QUESTIONS",
    "STATIONS",
    "BladeFamily",
    "family_chances_after",
]

MARK = 0.75
"""Share of the radius at which chord and angle are read."""
STATIONS = (0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.75, 0.8, 0.9, 0.95, 1.0)
"""Shares of the radius at which an outline is given."""


@attrs.frozen(kw_only=True)
class BladeFamily:
    """One family.

    Attributes
    ----------
    look, thickness, stiffness, sizes : str
        What is seen at a glance, edge on, when it is bent, and where it is found.
    chord_sd_ln : float
        Standard deviation of ln chord over diameter at ``MARK`` from blade to blade.
    bends : tuple of float
        Chance of each answer of ``BENDS``.
    hinged : float
        Chance that the blades are hinged.
    outline : tuple of float
        Chord over radius at ``STATIONS``.
    """

    look: str
    thickness: str
    stiffness: str
    sizes: str
    chord_sd_ln: float
    bends: tuple[float, ...]
    hinged: float
    outline: tuple[float, ...]

    @property
    def chord(self) -> float:
        """Chord at ``MARK`` over the diameter, the usual one."""
        return 0.5 * self.outline[STATIONS.index(MARK)]

    @property
    def chord_range(self) -> tuple[float, float]:
        """Chord over diameter at ``MARK`` of the middle 80 %."""
        factor = math.exp(Z80 * self.chord_sd_ln)
        return self.chord / factor, self.chord * factor

    @property
    def chord_text(self) -> str:
        """The chord in words."""
        low, usual, high = (100.0 * each for each in (self.chord_range[0], self.chord, self.chord_range[1]))
        return f"chord at 75 % of the radius {low:.1f} to {high:.1f} % of the diameter, usually {usual:.1f} %"

    def __str__(self) -> str:
        return f"{self.look}; {self.chord_text}; {self.thickness}; {self.stiffness}; {self.sizes}"


BENDS = {
    "soft": "bends far between two fingers, like a card",
    "sheet": "stiff, and edge on a thin sheet with sharp edges",
    "blunt": "stiff, and edge on visibly thick with a round nose",
    "springy": "tough plastic: bends when pushed hard, springs back, and does not snap",
}
"""Answers to what a blade does when its tip is pushed, and how it looks edge on."""

QUESTIONS = {
    "hinged": "Do the blades swing on hinges or pins in a separate hub? Answer hinged or fixed.",
    "chord": "How wide is a blade at three quarters of the radius, with callipers square to its length? Answer in mm.",
    "bend": "Push the tip with a finger and look at it edge on. Answer " + ", ".join(
        f"{word} ({meaning})" for word, meaning in BENDS.items()) + ".",
}  # fmt: skip
"""The key: three questions that need the propeller in hand and no picture."""

FAMILIES = {
    "thin": BladeFamily(
        look="slender, widest before the middle of the blade, then almost straight to a narrow tip",
        thickness="edge on a thin sheet with sharp edges, about 8 to 10 % of its chord thick",
        stiffness="stiff",
        sizes="5 to 20 in, 2 blades",
        chord_sd_ln=0.13, bends=(0.05, 0.75, 0.10, 0.10), hinged=0.001,
        outline=(0.152, 0.168, 0.172, 0.174, 0.162, 0.142, 0.129, 0.121, 0.093, 0.067, 0.040),
    ),
    "thick": BladeFamily(
        look="general purpose: nearly the same width from a quarter to three quarters of the radius, rounded tip",
        thickness="edge on visibly thick with a blunt nose, about 11 to 14 % of its chord",
        stiffness="hard to bend by hand",
        sizes="4 to 14 in, 2 or 3 blades",
        chord_sd_ln=0.12, bends=(0.02, 0.13, 0.80, 0.05), hinged=0.001,
        outline=(0.148, 0.164, 0.166, 0.167, 0.168, 0.162, 0.154, 0.141, 0.116, 0.103, 0.044),
    ),
    "broad": BladeFamily(
        look="for slow flight: broad, narrower at the hub than at three quarters, widest beyond the middle, little "
        "twisted at the hub",
        thickness="edge on thin, about 5 to 7 % of its chord",
        stiffness="bends between two fingers",
        sizes="3 to 12 in, 2 blades",
        chord_sd_ln=0.17, bends=(0.75, 0.10, 0.05, 0.10), hinged=0.001,
        outline=(0.127, 0.170, 0.206, 0.224, 0.226, 0.211, 0.197, 0.181, 0.134, 0.097, 0.044),
    ),
    "folding": BladeFamily(
        look="blades on hinges in a separate hub, so that they fold back along the body when the motor stops",
        thickness="edge on a thin sheet or a little thicker, about 8 to 12 % of its chord",
        stiffness="stiff",
        sizes="6 to 16 in, 2 blades",
        chord_sd_ln=0.15, bends=(0.05, 0.55, 0.35, 0.05), hinged=0.98,
        outline=(0.140, 0.160, 0.168, 0.168, 0.156, 0.140, 0.130, 0.120, 0.092, 0.068, 0.038),
    ),
    "wide": BladeFamily(
        look="paddles: very wide from the root on, widest in the inner half; on small models without a gear, not on "
        "multi-rotor racers",
        thickness="about 7 to 10 % of its chord thick",
        stiffness="neither soft nor hard to bend",
        sizes="2 to 6 in, mostly 2 blades",
        chord_sd_ln=0.24, bends=(0.15, 0.25, 0.35, 0.25), hinged=0.001,
        outline=(0.248, 0.252, 0.254, 0.252, 0.243, 0.232, 0.232, 0.228, 0.183, 0.151, 0.035),
    ),
    "racing": BladeFamily(
        look="narrow blades of multi-rotor racers: widest a third of the way out, straight to a narrow or squared tip, "
        "steep, often 3 or more blades on a thick hub; the more blades, the narrower each",
        thickness="edge on thin, about 6 to 9 % of its chord",
        stiffness="tough, springs back when it is bent",
        sizes="3 to 6 in, 2 to 5 blades",
        chord_sd_ln=0.18, bends=(0.05, 0.20, 0.05, 0.70), hinged=0.001,
        outline=(0.150, 0.180, 0.190, 0.185, 0.175, 0.160, 0.150, 0.140, 0.115, 0.090, 0.050),
    ),
}  # fmt: skip
"""Propeller families by name."""

MEASURING_GUIDE = (
    "Mark three quarters of the radius on one blade: measure from the centre of the hole, 0.75 x half the diameter "
    "(for a 9 in propeller 85.7 mm). Chord: close the callipers on the leading and trailing edge at the mark, square "
    "to the blade's length. Angle: lay the propeller flat, hub face down on a table, so that the shaft stands upright; "
    "hold a straight strip (a steel rule) against the flat back of the blade at the mark, in line with the chord; read "
    "the angle between the strip and the table with a protractor (typical 8 to 25 degrees). Measure every blade and "
    "take the mean; two degrees of error cost about ten percent of the power."
)
"""How to measure chord and angle at 75 % radius with callipers and a protractor."""


def family_chances_after(
    before: Mapping[str, float],
    *,
    hinged: bool | None = None,
    chord: float | None = None,
    bend: str | None = None,
) -> dict[str, float]:
    """Probability of each family after answers of the key, largest first.

    Bayes' rule: proportional to ``before`` times the chance of each answer, the chord's over the diameter lognormal.

    Parameters
    ----------
    before : mapping
        Probability of each family by size, pitch and blades.
    hinged : bool, optional
        Whether the blades are hinged.
    chord : float, optional
        Chord at ``MARK`` over the diameter.
    bend : str, optional
        A word of ``BENDS``.
    """
    after = {}
    for name, family in FAMILIES.items():
        chance = before.get(name, 0.0)
        if hinged is not None:
            chance *= family.hinged if hinged else 1.0 - family.hinged
        if chord is not None:
            away = math.log(chord / family.chord) / family.chord_sd_ln
            chance *= math.exp(-0.5 * away**2) / family.chord_sd_ln
        if bend is not None:
            chance *= family.bends[list(BENDS).index(bend)]
        after[name] = chance
    total = sum(after.values())
    if not total > 0.0:
        return {name: 1.0 / len(FAMILIES) for name in FAMILIES}
    return dict(sorted(((name, chance / total) for name, chance in after.items()), key=lambda each: -each[1]))
