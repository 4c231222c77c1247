"""What the bare aircraft is made of: items, printed parts, and what another build changes of them.

Filament in a printed part: m = m_d (rho/rho_d) (f/f_d), m_d the grams as designed, rho density and f flow. What is
added to the print stays as it is in every filament. A build of another mass differs in its filament alone, every
printed part in proportion; without printed parts every line is in proportion.
"""

from collections.abc import Iterable, Mapping, Sequence
from types import MappingProxyType
from typing import Protocol

import attrs

from propmatch.records.estimates import MEMORY, PRACTICE, Assumption
from propmatch.records.fields import Rule, choice, flag, number, record, replace, text

__all__ = [
    "FILAMENTS",
    "BuildLine",
    "Filament",
    "Item",
    "ItemChange",
    "Structure",
    "StructureChange",
    "build_lines",
    "listed_mass_g",
    "stays_g",
    "varies_g",
]

METAL_G_CM3 = 2.6
"""Denser than any filament that a model is printed in; aluminium has 2.7."""


@attrs.frozen(kw_only=True)
class Filament:
    """What a filament is printed as.

    Attributes
    ----------
    density_g_cm3 : float or None
        Of the solid filament; None: that of the part as designed.
    flow : float
        Flow it is printed at, over that of a solid part.
    density_assumed, flow_assumed : Assumption or None
        What the two rest on, with the range of 80 % of filaments; None for a number that is stated.
    """

    density_g_cm3: float | None
    flow: float
    density_assumed: Assumption | None = None
    flow_assumed: Assumption | None = None

    def as_printed(self, density_g_cm3: float | None, flow: float | None, *, own: "Filament") -> "Filament":
        """As printed: with what is stated, and the part's own density where nothing else says it."""
        density, assumed = self.density_g_cm3, self.density_assumed
        if density is None:
            density, assumed = own.density_g_cm3, own.density_assumed
        return Filament(
            density_g_cm3=density if density_g_cm3 is None else density_g_cm3,
            flow=self.flow if flow is None else flow,
            density_assumed=assumed if density_g_cm3 is None else None,
            flow_assumed=self.flow_assumed if flow is None else None,
        )

    def at(self, ends: Mapping[Assumption, float]) -> dict[str, float]:
        """Density and flow where it rests on one of these assumptions, by the key that would state the value."""
        made = {"density_g_cm3": self.density_assumed, "flow_rate": self.flow_assumed}
        return {key: ends[each] for key, each in made.items() if each is not None and each in ends}


def _assumed_density(word: str, value: float, low: float, high: float, what: str) -> Assumption:
    text = f"{word} filament has {value:g} g/cm3, {low:g} to {high:g}: {what}; range of published data sheets, {MEMORY}"
    return Assumption("filament", "density_g_cm3", value, "g/cm3", text, low, high)


_PLA = _assumed_density("standard", 1.24, 1.21, 1.27, "PLA and its like")
_TOUGH = _assumed_density("tough", 1.15, 1.04, 1.27, "from ABS at 1.04 over nylon to PETG at 1.27")
_FOAMED = Assumption(
    "filament", "flow_rate", 0.35, "", f"foamed parts weigh 0.35 of solid ones, 0.30 to 0.40; {PRACTICE}", 0.30, 0.40
)
FILAMENTS = {
    "solid": Filament(density_g_cm3=None, flow=1.0),
    "standard": Filament(density_g_cm3=_PLA.value, flow=1.0, density_assumed=_PLA),
    "foamed": Filament(density_g_cm3=_PLA.value, flow=_FOAMED.value, density_assumed=_PLA, flow_assumed=_FOAMED),
    "tough": Filament(density_g_cm3=_TOUGH.value, flow=1.0, density_assumed=_TOUGH),
}
"""Filament by its word; ``solid`` is a part's own filament at flow 1."""


@record()
class Item:
    """One thing that flies: mass, and where its centre of mass sits; one without a place leaves the balance unknown."""

    name: str = text(doc="what it is")
    mass_g: float = number("g", ge=0, le=100_000, doc="mass")
    position_mm: float | None = number(
        "mm", ge=-10_000, le=10_000, default=None, doc="centre of mass along the fuselage, aft of the datum"
    )
    height_mm: float | None = number("mm", ge=-5_000, le=5_000, default=None, doc="centre of mass above the level line")


@record()
class BuildLine(Item):
    """A line of a build that a heavier or lighter one changes: a printed part, or a bare aircraft of unknown make."""

    varies_g: float = number("g", ge=0, le=100_000, doc="of its mass the filament, or all of it")


def _given(*values: object) -> bool:
    return any(value is not None for value in values)


def _density() -> float | None:
    return number(  # type: ignore[no-any-return]
        "g/cm3", gt=0, le=100_000, default=None,
        doc="density of the solid filament; filaments have about 0.9 to 1.5, filled ones more",
    )  # fmt: skip


_NO_METAL = Rule(
    ("density_g_cm3",),
    lambda density: density is not None and density > METAL_G_CM3,
    f"must be at most {METAL_G_CM3:g} g/cm3, more is solid metal (or kg/m3); filaments have about 0.9 to 1.5 g/cm3",
)


@record(
    rules=(
        Rule(
            ("slicer_g", "weighed_g"),
            lambda slicer, weighed: _given(slicer) == _given(weighed),
            "needs one of the two: slicer_g, the grams of the slice, or weighed_g, the finished part on the scale",
        ),
        Rule(
            ("weighed_g", "printed_share", "finish_g", "glue_g", "hardware_g", "finish_share"),
            lambda weighed, share, *added: weighed is not None and (share is None) != any(added),
            "needs printed_share, the filament in it (1: all), or else finish_g, glue_g, hardware_g, finish_share",
        ),
        Rule(
            ("printed_share", "weighed_g"),
            lambda share, weighed: share is not None and weighed is None,
            "goes with weighed_g alone; slicer_g is all filament",
        ),
        Rule(
            ("weighed_g", "finish_g", "glue_g", "hardware_g"),
            lambda weighed, *added: weighed is not None and weighed <= sum(added),
            "must be more than finish_g, glue_g and hardware_g together",
        ),
        Rule(
            ("weighed_g", "slicer_flow", "slicer_density_g_cm3"),
            lambda weighed, flow, density: weighed is not None and (flow != 1 or density is not None),
            "goes without slicer_flow and slicer_density_g_cm3, which are about the grams of a slice",
        ),
        _NO_METAL,
        Rule(("slicer_density_g_cm3",), lambda density: density is not None and density > METAL_G_CM3, _NO_METAL.text),
    )
)
class Structure:
    """A printed part of the airframe, or all of them: grams of the slice or of the scale, its filament, and additions.

    Filament in it = slicer_g x flow_rate/slicer_flow x density/slicer density; finish, glue and hardware stay as they
    are in every filament.
    """

    name: str = text(default="printed structure", doc="what it is")
    slicer_g: float | None = number(
        "g", ge=0, le=100_000, default=None, doc="grams the slicer shows, at its flow and density"
    )
    slicer_flow: float = number(gt=0, le=3, default=1.0, doc="flow set in the slicer for these grams")
    slicer_density_g_cm3: float | None = number(
        "g/cm3", gt=0, le=100_000, default=None, doc="density set in the slicer; default that of the filament"
    )
    weighed_g: float | None = number(
        "g", gt=0, le=100_000, default=None, doc="mass of the finished part as built, in place of slicer_g"
    )
    printed_share: float | None = number(gt=0, le=1, default=None, doc="filament over weighed_g")
    material: str | None = choice(tuple(FILAMENTS), default=None, doc="filament; solid: the slicer's own at flow 1")
    density_g_cm3: float | None = _density()
    flow_rate: float | None = number(
        gt=0, le=3, default=None,
        doc="flow it is printed at; default slicer_flow where that is not 1, else 1, and 0.35 foamed",
    )  # fmt: skip
    finish_g: float = number("g", ge=0, le=10_000, default=0.0, doc="paint, film, sealing")
    glue_g: float = number("g", ge=0, le=10_000, default=0.0, doc="glue")
    hardware_g: float = number("g", ge=0, le=10_000, default=0.0, doc="screws, horns, rods, hinges")
    finish_share: float = number(
        ge=0, le=2, default=0.0, doc="paint, glue and hardware over the filament as designed, beside the grams"
    )
    position_mm: float | None = number(
        "mm", ge=-10_000, le=10_000, default=None, doc="centre of mass along the fuselage, aft of the datum"
    )
    height_mm: float | None = number("mm", ge=-5_000, le=5_000, default=None, doc="centre of mass above the level line")

    @property
    def printed(self) -> Filament:
        """What it is printed as: as stated, else by its material, else as the slicer has it."""
        own = FILAMENTS["standard"]
        if self.slicer_density_g_cm3 is not None:
            own = attrs.evolve(own, density_g_cm3=self.slicer_density_g_cm3, density_assumed=None)
        flow = self.slicer_flow if self.flow_rate is None and self.slicer_flow != 1 else self.flow_rate
        return FILAMENTS[self.material or "solid"].as_printed(self.density_g_cm3, flow, own=own)

    @property
    def _reference(self) -> tuple[float, Filament]:
        """Grams of filament, and what they are grams of: the slice's, or those weighed."""
        if self.slicer_g is not None:
            sliced = attrs.evolve(self.printed, flow=self.slicer_flow, flow_assumed=None)
            if self.slicer_density_g_cm3 is not None:
                sliced = attrs.evolve(sliced, density_g_cm3=self.slicer_density_g_cm3, density_assumed=None)
            return self.slicer_g, sliced
        assert self.weighed_g is not None
        if self.printed_share is not None:
            return self.weighed_g * self.printed_share, self.printed
        return (self.weighed_g - self._stated_g) / (1 + self.finish_share), self.printed

    def filament_in(self, filament: Filament) -> tuple[float, list[Assumption]]:
        """Grams of filament printed as another one, and the assumptions that they rest on."""
        grams, known = self._reference
        assumed = []
        if filament.density_g_cm3 != known.density_g_cm3:
            assumed += [filament.density_assumed, known.density_assumed]
        if filament.flow != known.flow:
            assumed += [filament.flow_assumed, known.flow_assumed]
        assert filament.density_g_cm3 is not None
        assert known.density_g_cm3 is not None
        ratio = filament.density_g_cm3 / known.density_g_cm3 * filament.flow / known.flow
        return grams * ratio, [each for each in assumed if each is not None]

    @property
    def slicer_assumed(self) -> tuple[Assumption, ...]:
        """That the grams of the slice are of the part's own filament, where no density of the slicer is stated."""
        named = self.material not in (None, "solid")
        if self.slicer_density_g_cm3 is not None or not self.slicer_g or not (named or self.density_g_cm3):
            return ()
        density = self.printed.density_g_cm3
        assert density is not None
        what = f"of {self.material} filament" if named else f"stated for the filament, {density:g} g/cm3"
        text = f"the slicer is set to the density {what}, so that its grams are of that"
        return (Assumption("filament", "slicer_density_g_cm3", density, "g/cm3", text),)

    @property
    def _stated_g(self) -> float:
        return self.finish_g + self.glue_g + self.hardware_g

    @property
    def filament_g(self) -> float:
        """Filament as designed [g]."""
        return self.filament_in(self.printed)[0]

    @property
    def added_g(self) -> float:
        """What is added to the filament [g], the same in every filament."""
        if self.weighed_g is not None:
            return self.weighed_g - self.filament_g
        return self._stated_g + self.finish_share * self.filament_g

    @property
    def mass_g(self) -> float:
        """Mass of the finished part as designed [g]."""
        return self.filament_g + self.added_g

    def with_filament(self, factor: float) -> "Structure":
        """The same part with its filament times a factor, what is added as it is."""
        filament, added = self.filament_g, self.added_g
        if self.slicer_g is not None:
            share = self.finish_share * filament
            return replace(self, slicer_g=self.slicer_g * factor, finish_share=0.0, finish_g=self.finish_g + share)
        mass = filament * factor + added
        return replace(
            self, weighed_g=mass, printed_share=filament * factor / mass, finish_g=0.0, glue_g=0.0, hardware_g=0.0,
            finish_share=0.0,
        )  # fmt: skip


@record(
    rules=(
        Rule(
            ("name", "mass_g", "position_mm", "height_mm", "removed", "added"),
            lambda name, *changed: all(each is None or each is False for each in changed),
            "needs what is different: mass_g, position_mm, height_mm or removed = true",
        ),
        Rule(
            ("removed", "mass_g", "position_mm", "height_mm", "added"),
            lambda removed, *other: removed and any(each is not None and each is not False for each in other),
            "goes alone; what is taken out has no mass and no place",
        ),
        Rule(
            ("mass_g", "added"),
            lambda mass, added: added and mass is None,
            "missing; an added item needs its mass in g",
        ),
    )
)
class ItemChange:
    """What a variant changes of one [[item]], or one that only it has; ``mass_g = 0`` takes an item out, too."""

    name: str = text(doc="name of the [[item]]")
    mass_g: float | None = number("g", ge=0, le=100_000, default=None, doc="mass")
    position_mm: float | None = number(
        "mm", ge=-10_000, le=10_000, default=None, doc="centre of mass along the fuselage, aft of the datum"
    )
    height_mm: float | None = number("mm", ge=-5_000, le=5_000, default=None, doc="centre of mass above the level line")
    added: bool = flag(default=False, doc="an item of this variant alone")
    removed: bool = flag(default=False, doc="this variant is without it")

    def of(self, item: Item) -> Item:
        """The item as changed."""
        values = {"mass_g": self.mass_g, "position_mm": self.position_mm, "height_mm": self.height_mm}
        return replace(item, **{name: value for name, value in values.items() if value is not None})


@record(
    rules=(
        Rule(
            ("name", "material", "density_g_cm3", "flow_rate"),
            lambda name, *changed: not _given(*changed),
            "needs its filament: material, density_g_cm3 or flow_rate",
        ),
        _NO_METAL,
    )
)
class StructureChange:
    """Another filament of one [[structure]] part in a variant."""

    name: str = text(doc="name of the [[structure]] part")
    material: str | None = choice(tuple(FILAMENTS), default=None, doc="filament; solid: the part's own at flow 1")
    density_g_cm3: float | None = _density()
    flow_rate: float | None = number(
        gt=0, le=3, default=None, doc="flow it is printed at; default the material's, else the part's own"
    )


# ---------------------------------------------------------------- a build


def listed_mass_g(item: Sequence[Item], structure: Sequence[Structure]) -> float:
    """Sum of the items and of the printed parts as designed [g]."""
    return sum(each.mass_g for each in item) + sum(each.mass_g for each in structure)


class Changes(Protocol):
    """What a variant changes of the lists."""

    @property
    def filament(self) -> float | str | None: ...
    @property
    def item(self) -> tuple[ItemChange, ...]: ...
    @property
    def structure(self) -> tuple[StructureChange, ...]: ...


def build_lines(
    item: Iterable[Item], structure: Iterable[Structure], variant: Changes | None = None,
    ends: Mapping[Assumption, float] = MappingProxyType({}),
) -> tuple[tuple[Item, ...], tuple[Assumption, ...]]:  # fmt: skip
    """The mass lines of a build, items first, and what was assumed for its filaments.

    Parameters
    ----------
    item : iterable of Item
    structure : iterable of Structure
    variant : Changes, optional
        Its items and parts by name; ``filament`` goes for the parts that it does not name.
    ends : mapping of Assumption to float
        Values in place of some that are assumed of filaments.
    """
    changes = {each.name: each for each in variant.item} if variant else {}
    kept = [changes[each.name].of(each) if each.name in changes else each for each in item]
    new = [each.of(Item(name=each.name, mass_g=0.0)) for each in changes.values() if each.added]
    out = {each.name for each in changes.values() if each.removed or each.mass_g == 0}
    parts = {each.name: each for each in variant.structure} if variant else {}
    made: dict[Assumption, None] = {}
    printed = []
    for as_assumed in structure:
        part = replace(as_assumed, **as_assumed.printed.at(ends))
        grams, assumed = _filament(part, parts.get(part.name), variant.filament if variant else None, ends)
        made |= dict.fromkeys((*part.slicer_assumed, *assumed))
        printed.append(
            BuildLine(
                name=part.name, mass_g=grams + part.added_g, varies_g=grams, position_mm=part.position_mm,
                height_mm=part.height_mm,
            )
        )  # fmt: skip
    return (*(each for each in (*kept, *new) if each.name not in out), *printed), tuple(made)


def _filament(
    part: Structure, change: StructureChange | None, filament: float | str | None, ends: Mapping[Assumption, float]
) -> tuple[float, list[Assumption]]:
    """Grams of filament of a part in a build, and what they rest on."""
    own = part.printed
    if change is None and isinstance(filament, str):
        change = StructureChange(name=part.name, material=filament)
    if change is None:
        grams, made = part.filament_in(own)
        return grams * (1.0 if filament is None else float(filament)), made
    other = own if change.material is None else FILAMENTS[change.material]
    printed = other.as_printed(change.density_g_cm3, change.flow_rate, own=own)
    moved = printed.at(ends)
    return part.filament_in(printed.as_printed(moved.get("density_g_cm3"), moved.get("flow_rate"), own=own))


def varies_g(lines: Sequence[Item]) -> list[float]:
    """Of each line the grams in which a build of another mass differs: filament; the whole line where none has any."""
    own = [line.varies_g if isinstance(line, BuildLine) else 0.0 for line in lines]
    return own if sum(own) else [line.mass_g for line in lines]


def stays_g(lines: Sequence[Item]) -> float:
    """What no build can be lighter than [g]: items, and what is added to the print."""
    return max(sum(line.mass_g for line in lines) - sum(varies_g(lines)), 0.0)
