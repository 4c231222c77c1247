"""The power train of a command: every part named by id, or typed in full."""

import shlex
from collections.abc import Callable, Iterable, Mapping
from functools import cached_property
from typing import TYPE_CHECKING, Any, TypeVar

import attrs
import click

from propmatch.commands.options import open_catalogue
from propmatch.faults import Fault, InputFaults, did_you_mean

if TYPE_CHECKING:
    from propmatch.catalogue.catalogue import Catalogue
    from propmatch.records.parts import Pack, PowerTrain, Propeller, TrainNumbers

__all__ = [
    "PACK_STATE",
    "TRAIN_OPTIONS",
    "ChosenTrain",
    "LazyCatalogue",
    "choose_train",
    "pack_state",
    "table_answer",
    "train_data",
    "train_options",
    "with_table",
]

F = TypeVar("F", bound=Callable[..., Any])


def train_options(function: F) -> F:
    """--motor, --listing, --propeller, --pack, --controller, --motors, --radio-current, and how the cells are."""
    for option in (
        click.option("--pack-rest", metavar="H", help="Hours since the pack was charged.  [default: 0]"),
        click.option("--pack-cycles", metavar="N", help="How often the pack has flown before.  [default: 0, new]"),
        click.option(
            "--pack-temperature", metavar="DEGC", help="Temperature of the cells.  [default: the air's, else near 25]"
        ),
        click.option("--radio-current", metavar="A", help="Current of receiver, servos and payload.  [default: 0.2A]"),
        click.option("--motors", metavar="N", help="Equal sets of motor, controller, propeller.  [default: 1]"),
        click.option("--controller", metavar="PART", help='Id, or typed: "20A", "20A 18g r=5mohm".'),
        click.option("--pack", metavar="PART", help='Id, or typed: "2S 450mAh 35C", "3S2P 5Ah 390g cell=9mohm".'),
        click.option(
            "--propeller",
            metavar="PART",
            help='Id, or typed: "6x4", "6x4 thin 3-blade", "6x4 9800rpm 62W" as read at rest.',
        ),
        click.option(
            "--listing",
            metavar="ROW",
            help='Instead of --motor: a shop listing\'s row, "1500kV 28g 7.4V 6.5A 7x4 300gf" (volts, amps, propeller, '
            "thrust at full throttle); the motor's constants are fitted to it, and a --propeller of its size.",
        ),
        click.option("--motor", metavar="PART", help='Id, or typed: "1500kV 28g", "kv=1500 mass=28 r=0.08 i0=0.9".'),
    ):
        function = option(function)
    return function


class LazyCatalogue:
    """The catalogue, opened when it is first needed."""

    def __init__(self, parts_folder: str | None, strict: bool) -> None:
        self._how = (parts_folder, strict)

    @cached_property
    def catalogue(self) -> "Catalogue":
        return open_catalogue(*self._how)

    @property
    def broken(self) -> tuple[Fault, ...]:
        """Plugins that failed, if the catalogue was opened."""
        opened = self.__dict__.get("catalogue")
        return tuple(each.fault for each in opened.broken) if opened else ()


@attrs.frozen(kw_only=True)
class ChosenTrain:
    """A power train with what had to be assumed to make it, and what is hard to believe about it."""

    train: "PowerTrain"
    assumptions: tuple[Any, ...]
    doubts: tuple[Fault, ...]


def choose_train(
    stock: LazyCatalogue, options: Mapping[str, str | None], defaults: "TrainNumbers | None" = None
) -> ChosenTrain:
    """Put a power train together from the parameters of ``train_options``; others in ``options`` are left alone.

    ``defaults`` are fields of ``PowerTrain`` that the options override.

    Raises
    ------
    InputFaults
        Every fault of every part at once.
    """
    from propmatch.records.estimates import RADIO
    from propmatch.records.parts import Controller, Motor, Pack, PowerTrain, Propeller
    from propmatch.records.plausibility import warnings_of
    from propmatch.records.typed import controller_for

    faults: list[Fault] = []
    assumptions: list[Any] = []
    doubts: list[Fault] = []
    found: dict[str, Any] = {}
    listing = options["listing"]
    for name, cls in (("motor", Motor), ("propeller", Propeller), ("pack", Pack), ("controller", Controller)):
        text = options[name]
        if text is None:
            if name != "controller" and not (name == "motor" and listing is not None):
                faults.append(Fault(f"--{name}", rule="missing; name a part by id, or type it in full"))
            continue
        part, typed = _part(stock, name, cls, text, faults, assumptions)
        found[name] = part
        if typed and part is not None:
            doubts += warnings_of(part)
    if listing is not None:
        if options["motor"] is not None:
            faults.append(Fault("--listing", rule="describes the motor, so leave out --motor"))
        else:
            found |= _listed_parts(stock, listing, found.get("propeller"), faults, assumptions, doubts)
    numbers = {**(defaults or {}), **_numbers(_NUMBERS, options, faults)}
    if "radio_current_a" not in numbers:
        assumptions.append(RADIO)
    if faults:
        raise InputFaults(faults)
    if "controller" not in found:
        made = controller_for(found["motor"], found["pack"])
        found["controller"] = made.part
        assumptions += made.assumptions
    if found["propeller"].table is None:
        found["propeller"] = with_table(stock.catalogue, found["propeller"])
    return ChosenTrain(train=PowerTrain(**found, **numbers), assumptions=tuple(assumptions), doubts=tuple(doubts))


_NUMBERS = {
    "motors": "count", "radio_current": "radio_current_a", "pack_temperature": "pack_temperature_c",
    "pack_cycles": "pack_cycles", "pack_rest": "pack_rest_h",
}  # fmt: skip
"""Parameters that are numbers, and the field of ``PowerTrain`` each stands for."""
PACK_STATE = ("pack_temperature", "pack_cycles", "pack_rest")
"""Those of them that say how the cells are, whatever parts there are."""
TRAIN_OPTIONS = ("motor", "listing", "propeller", "pack", "controller", *(n for n in _NUMBERS if n not in PACK_STATE))
"""Parameters of ``train_options`` that name a power train, or part of one."""


def _listed_parts(
    stock: LazyCatalogue, text: str, named: Any, faults: list[Fault], assumptions: list[Any], doubts: list[Fault]
) -> dict[str, Any]:
    """The motor that reproduces a row of a listing, and the propeller named as it is beside that motor."""
    from propmatch.records.fields import declared
    from propmatch.records.listing import ListingRow, motor_from_listing
    from propmatch.records.parts import FAMILIES, Propeller
    from propmatch.records.typed import read_part, typed_words
    from propmatch.records.written import short_form

    try:
        words = typed_words(ListingRow, text)
    except ValueError:
        words = []
    sizes = [word for word in words if short_form(Propeller, "size", word)]
    shapes = [word for word in words if short_form(Propeller, "blades", word) or word.lower() in (*FAMILIES, "unknown")]
    rest = shlex.join(word for word in words if word not in (*sizes, *shapes)) if words else text
    row = read_part(ListingRow, rest, "--listing")
    faults += row.faults
    if len(sizes) != 1:
        rule = "needs the propeller of the row, once" if sizes else "needs the propeller of the row"
        faults.append(Fault("--listing", value=text, rule=rule, hint='such as 6x4, or "6x4 thin 3-blade"'))
        return {}
    sized = read_part(Propeller, shlex.join([*sizes, *shapes]), "--listing")
    faults += sized.faults
    if row.part is None or sized.part is None:
        return {}
    same = named is not None and all(
        getattr(named, name) == getattr(sized.part, name) for name in ("diameter_in", "pitch_in", "blades")
    )
    try:
        of_row = with_table(stock.catalogue, named if same else sized.part, "--listing")
        values = {rule.name: getattr(row.part, rule.name) for rule in declared(ListingRow)}
        listed = motor_from_listing(propeller=of_row, where="--listing", **values)
    except InputFaults as error:
        faults += error.faults
        return {}
    assumptions += [each for each in listed.assumptions if same or each.subject == listed.motor.name]
    doubts += listed.warnings
    if same or named is None:
        return {"motor": listed.motor, "propeller": listed.propeller}
    return {"motor": listed.motor, "propeller": listed.beside(with_table(stock.catalogue, named))}


def _part(
    stock: LazyCatalogue, name: str, cls: type, text: str, faults: list[Fault], assumptions: list[Any]
) -> tuple[Any, bool]:
    from propmatch.records.typed import looks_typed, read_part

    if looks_typed(text):
        typed = read_part(cls, text, f"--{name}")
        faults += typed.faults
        assumptions += typed.assumptions
        if name == "pack" and typed.part is not None:
            return _with_cells(stock, typed.part, faults), True
        return typed.part, True
    catalogue = stock.catalogue
    try:
        return catalogue.find(f"{name}s", text), False
    except InputFaults as error:
        faults += [attrs.evolve(fault, where=f"--{name}") for fault in error.faults]
        return None, False


def _with_cells(stock: LazyCatalogue, pack: "Pack", faults: list[Fault]) -> "Pack":
    """The pack with cells that somebody knows; plugins are asked only for what is not built in."""
    from propmatch.models.pack import CHEMISTRIES
    from propmatch.records.fields import replace

    if pack.chemistry in CHEMISTRIES:
        return pack
    known, name = stock.catalogue.chemistries, str(pack.chemistry)
    if name in known:
        return replace(pack, chemistry=known[name])
    hint = did_you_mean(name, known) or "known: " + ", ".join(known)
    faults.append(Fault("--pack", "chemistry", name, "nobody knows these cells", hint))
    return pack


def pack_state(options: Mapping[str, str | None], faults: list[Fault]) -> dict[str, Any]:
    """How the options say that the cells are, as fields of ``PowerTrain``; what is wrong is added to the faults."""
    return _numbers(PACK_STATE, options, faults)


def _numbers(names: Iterable[str], options: Mapping[str, str | None], faults: list[Fault]) -> dict[str, Any]:
    """Numbers of options, checked as the fields of ``PowerTrain`` are."""
    given = {name: text for name in names if (text := options.get(name)) is not None}
    if not given:
        return {}
    from propmatch.records.parts import PowerTrain
    from propmatch.records.typed import read_number

    values = {}
    for name, text in given.items():
        value = read_number(PowerTrain, _NUMBERS[name], text, f"--{name.replace('_', '-')}")
        if isinstance(value, Fault):
            faults.append(value)
        else:
            values[_NUMBERS[name]] = value
    return values


def with_table(catalogue: "Catalogue", propeller: Any, where: str = "--propeller") -> Any:
    """The propeller with the coefficient table that a plugin answers; ``InputFaults`` when none does."""
    if propeller.table is not None:
        return propeller
    answer = table_answer(catalogue, propeller, where)
    return attrs.evolve(propeller, table=answer.table, source=answer.source)


def table_answer(catalogue: "Catalogue", propeller: "Propeller", where: str) -> Any:
    """The ``TableAnswer`` of the first plugin that has one; ``InputFaults`` when none has."""
    from propmatch.catalogue.partsets import table_of
    from propmatch.records.typed import looks_typed

    sibling = propeller.sibling
    others = () if sibling is None or looks_typed(sibling) else (catalogue.find("propellers", sibling),)
    answer = table_of(propeller, others, catalogue.plugins, where)
    if answer is None:
        hint = f"plugins loaded: {', '.join(catalogue.plugins.plugins) or 'none'}"
        rule = "has no coefficient table and no plugin answers one"
        raise InputFaults([Fault(where, value=propeller.name, rule=rule, hint=hint)])
    return answer


# ---------------------------------------------------------------- saying which train it is


def train_data(train: "PowerTrain") -> dict[str, Any]:
    """The parts of a train for the JSON: id, name and source of each, and the cells of the pack."""
    from propmatch.models.pack import chemistry_of
    from propmatch.records.motoroff import taken

    parts = {name: getattr(train, name) for name in ("motor", "propeller", "pack", "controller")}
    return {
        **{name: {"id": part.id, "name": part.name, "source": part.source} for name, part in parts.items()},
        "chemistry": chemistry_of(train.pack).name,
        "count": train.count,
        "radio_current_a": train.radio_current_a,
        "receiver_supply_mass_g": train.supply_g,
        "motor_off": taken(train),
    }
