"""The sheet as data: its sections, and what they are made from."""

from functools import cached_property

import attrs

from propmatch.aircraft.endurance import FlightTime
from propmatch.aircraft.speeds import AircraftSpeeds
from propmatch.bench.logfit import LogFit
from propmatch.catalogue.catalogue import Catalogue
from propmatch.checks.chances import Sureness, as_stated, sureness
from propmatch.checks.judged import judged_trains
from propmatch.checks.limits import Check, Design, checks_of, missed
from propmatch.checks.setting import ResolvedBrief, Setting
from propmatch.questions.asflown import AsFlown
from propmatch.questions.cells import CellCase, CellComparison, compare_cells, usual_cells
from propmatch.questions.envelope import Envelope, parts_envelope
from propmatch.questions.settings import Settings, settings_of
from propmatch.records.brief import Brief
from propmatch.records.parts import PowerTrain
from propmatch.search.matching import Shortlist
from propmatch.sheet.picture import Picture, Table
from propmatch.words.shown import Shown

__all__ = ["ENVELOPE", "KEPT", "Answering", "Case", "Control", "Section", "Sheet", "TrainPanel", "VariantCase"]

ENVELOPE = "What others may fit"
"""The section of what others may fit; the first page points to it."""
KEPT = "of 100"
"""Over the chance of all limits together."""


@attrs.frozen(kw_only=True)
class Section:
    """A section of the sheet.

    Attributes
    ----------
    name : str
        Its anchor.
    title : str
        A question, or what it holds.
    text : tuple of str
        Paragraphs.
    points : tuple of str
        A list.
    tables : tuple of Table
    drawing : str
        A small SVG with the sentence beside it.
    drawn : str
    pictures : tuple of Picture
    folded : tuple of Table
        Shown when they are opened; not printed.
    small : bool
        Reference material, set small.
    """

    name: str
    title: str
    text: tuple[str, ...] = ()
    points: tuple[str, ...] = ()
    tables: tuple[Table, ...] = ()
    drawing: str = ""
    drawn: str = ""
    pictures: tuple[Picture, ...] = ()
    folded: tuple[Table, ...] = ()
    small: bool = False


@attrs.frozen(kw_only=True)
class Control:
    """A slider with its box: its range and place in the shown unit, and the step of a key."""

    name: str
    label: str
    unit: str
    per: float
    low: str
    high: str
    step: float
    value: str
    unstated: str = ""


@attrs.frozen(kw_only=True)
class TrainPanel:
    """One power train: its cells, its heading, its parts but the pack, and the packs to choose from."""

    cells: str
    title: str
    parts: str
    packs: tuple[str, ...]


@attrs.frozen(kw_only=True)
class Answering:
    """What the section is made from: text, controls, a panel for each power train, and the tables as JSON.

    ``options`` are the power trains with each of their packs.
    """

    title: str
    text: tuple[str, ...]
    controls: tuple[Control, ...]
    panels: tuple[TrainPanel, ...]
    options: tuple[tuple[PowerTrain, ...], ...]
    data: str


@attrs.frozen(kw_only=True)
class Sheet:
    """Everything on the build sheet.

    Attributes
    ----------
    title : str
    lead : tuple of str
        The verdict.
    first : tuple of Section
        The first page: the whole decision.
    answering : Answering or None
        What a script answers of other states; nothing of it is seen without one. None on paper.
    rest : tuple of Section
        For who wants more.
    design : Design
        The aircraft with the train that the charts show.
    checks : tuple of Check
    flight : FlightTime
    shortlist : Shortlist or None
    """

    title: str
    lead: tuple[str, ...]
    first: tuple[Section, ...]
    answering: Answering | None
    rest: tuple[Section, ...]
    design: Design
    checks: tuple[Check, ...]
    flight: FlightTime
    shortlist: Shortlist | None

    @property
    def sections(self) -> tuple[Section, ...]:
        """Every section in order."""
        return self.first + self.rest

    def section(self, name: str) -> Section:
        """A section by name."""
        return next(each for each in self.sections if each.name == name)

    @property
    def pictures(self) -> tuple[Picture, ...]:
        """Every chart in order."""
        return tuple(picture for section in self.sections for picture in section.pictures)


@attrs.frozen(eq=False)
class VariantCase:
    """The power train in one variant of the brief: its checks by name, and those that it misses on paper."""

    setting: Setting
    sure: Sureness
    checks: dict[str, Check]
    failing: tuple[str, ...]

    @classmethod
    def of(cls, setting: Setting, train: PowerTrain, sure: Sureness) -> "VariantCase":
        """Judged with its draws, if any."""
        drawn = None if sure.drawn.on_paper else [sure]
        checks = {c.name: c for c in checks_of(judged_trains(setting, [train])[0], sure=drawn)[0]}
        return cls(setting, sure, checks, tuple(c.name for c in missed(checks.values())))

    @property
    def name(self) -> str:
        """The variant's."""
        return self.setting.variant.name


@attrs.frozen(kw_only=True, eq=False)
class Case:
    """What the sections are made from; ``unnamed`` where the train is the best that match found, ``fit`` of a
    bench log of its motor."""

    resolved: ResolvedBrief
    catalogue: Catalogue
    train: PowerTrain
    design: Design
    checks: tuple[Check, ...]
    sure: Sureness
    flight: FlightTime
    flown: AsFlown
    shortlist: Shortlist | None
    unnamed: bool
    shown: Shown
    fit: LogFit | None = None

    @property
    def brief(self) -> Brief:
        """As it came."""
        return self.resolved.stated

    @property
    def setting(self) -> Setting:
        """Of the aircraft as designed."""
        return self.resolved.as_designed

    @cached_property
    def comparison(self) -> CellComparison:
        """The train on other cell counts."""
        counts = usual_cells(self.resolved, self.train)
        return compare_cells(self.resolved, self.catalogue, cells=counts, train=self.train, on_paper=self.on_paper)

    @property
    def own(self) -> CellCase:
        """Its own cell count there."""
        return self.comparison.case(self.train.pack.cells_series)

    @property
    def others(self) -> list[CellCase]:
        """The other cell counts there, all else kept."""
        found = self.comparison
        return [found.case(count) for count in found.cells if count != self.train.pack.cells_series]

    @cached_property
    def envelope(self) -> Envelope:
        """What others may fit in the published range."""
        return parts_envelope(self.resolved, self.catalogue, self.train, on_paper=self.on_paper)

    @cached_property
    def variants(self) -> list[VariantCase]:
        """The train in every variant, the aircraft as designed first."""
        return [VariantCase.of(each, self.train, self.sure_of(self.train, each)) for each in self.resolved.settings]

    @cached_property
    def settings(self) -> Settings | None:
        """What to set; None where it does not fly."""
        return settings_of(self.train, self.setting, self.flight, self.flown)

    @cached_property
    def speeds(self) -> AircraftSpeeds:
        """The aircraft's own speeds."""
        return self.setting.speeds(self.train)

    @property
    def mass_kg(self) -> float:
        """All-up mass."""
        return self.setting.all_up_mass_kg(self.train.mass_g)

    @property
    def on_paper(self) -> bool:
        """Whether every number is as it is stated."""
        return self.sure.drawn.on_paper

    @property
    def drawn(self) -> Sureness | None:
        """What bands and ranges come from; None on paper."""
        return None if self.on_paper else self.sure

    def sure_of(self, train: PowerTrain, setting: Setting | None = None) -> Sureness:
        """How sure what is said of another power train is, as designed or in another setting."""
        where = setting or self.setting
        if train is self.train and where is self.setting:
            return self.sure
        return as_stated(where, [train]).each[0] if self.on_paper else sureness(where, train)

    def rows(self, rows: list[dict[str, str]]) -> list[dict[str, str]]:
        """Rows of a table, without the chances where there are none."""
        return [{name: text for name, text in row.items() if name != KEPT} for row in rows] if self.on_paper else rows
