"""The sheet as data: its sections, and what they are made from."""

from functools import cached_property

import attrs

from propmatch.aircraft.endurance import FlightTime
from propmatch.aircraft.speeds import AircraftSpeeds
from propmatch.bench.logfit import LogFit
from propmatch.catalogue.catalogue import Catalogue
from propmatch.checks.chances import Sureness, sureness
from propmatch.checks.limits import Check, Design
from propmatch.checks.setting import ResolvedBrief, Setting
from propmatch.questions.asflown import AsFlown
from propmatch.questions.cells import CellComparison, compare_cells, usual_cells
from propmatch.records.brief import Brief
from propmatch.records.parts import PowerTrain
from propmatch.search.matching import Candidate, Shortlist
from propmatch.sheet.picture import Picture, Table
from propmatch.words.shown import Shown

__all__ = ["Case", "Section", "Sheet"]


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
    pictures : tuple of Picture
    small : bool
        Reference material, set small.
    """

    name: str
    title: str
    text: tuple[str, ...] = ()
    points: tuple[str, ...] = ()
    tables: tuple[Table, ...] = ()
    pictures: tuple[Picture, ...] = ()
    small: bool = False


@attrs.frozen(kw_only=True)
class Sheet:
    """Everything on the build sheet.

    Attributes
    ----------
    title : str
    lead : tuple of str
        The brief in sentences, and the answer.
    sections : tuple of Section
    design : Design
        The aircraft with the train that the charts show.
    checks : tuple of Check
    flight : FlightTime
    shortlist : Shortlist or None
    """

    title: str
    lead: tuple[str, ...]
    sections: tuple[Section, ...]
    design: Design
    checks: tuple[Check, ...]
    flight: FlightTime
    shortlist: Shortlist | None

    def section(self, name: str) -> Section:
        """A section by name."""
        return next(each for each in self.sections if each.name == name)

    @property
    def pictures(self) -> tuple[Picture, ...]:
        """Every chart in order."""
        return tuple(picture for section in self.sections for picture in section.pictures)


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
        return compare_cells(self.resolved, self.catalogue, cells=counts, train=self.train)

    @cached_property
    def speeds(self) -> AircraftSpeeds:
        """The aircraft's own speeds."""
        return self.setting.speeds(self.train)

    @property
    def mass_kg(self) -> float:
        """All-up mass."""
        return self.setting.all_up_mass_kg(self.train.mass_g)

    @property
    def own_cells(self) -> str:
        """Cell count of the train that the charts show."""
        return f"{self.train.pack.cells_series}S"

    def sure_of(self, train: PowerTrain) -> Sureness:
        """How sure what is said of another power train is, as designed."""
        return sureness(self.setting, train)

    @cached_property
    def best_sure(self) -> dict[str, Sureness]:
        """The same of the best candidate of each cell count."""
        return {key: self.sure_of(each.train) for key, each in self.best.items()}

    @property
    def best(self) -> dict[str, Candidate]:
        """The best candidate of each cell count."""
        if self.shortlist is None:
            return {}
        return {f"{cells}S": group[0] for cells, group in sorted(self.shortlist.by_cells.items()) if group}
