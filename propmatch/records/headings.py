"""Which field a heading means: the trade's words and abbreviations beside each field, in several languages.

A heading is its words, whatever their order, case, accents and marks between, with a unit in brackets, after a comma, a
stroke or ``in``, or at the end: ``Max. current (A)``, ``Gewicht, g``, ``Kapazität/mAh``, ``weight_oz``. The words below
are from memory of how people and shops write, no list was copied. A key typed before ``=`` is understood by them too.
"""

import re
import unicodedata
from collections.abc import Iterator, Mapping
from functools import lru_cache

import attrs

from propmatch.records.fields import Declared, declared
from propmatch.records.parts import KINDS, Controller, Motor, Pack, Propeller
from propmatch.units import conversion, is_unit

__all__ = [
    "BARE_UNIT",
    "KIND_HEADINGS",
    "KIND_WORDS",
    "SEVERAL",
    "SIGNATURE",
    "STANDS_FOR",
    "Meant",
    "kind_in",
    "meant",
    "phrases",
    "reading_meant",
    "same_words",
]

_NAME = (
    "name; model; type name; part; part name; item; product; title; designation; description; article; "
    "bezeichnung; modell; artikel; produkt; designation; nom; modele; reference; nombre; modelo; producto; nome; "
    "modello; prodotto; nazwa; naam; nom du produit"
)
_MASS = "weight; wt; mass; m; net weight; weight with leads; gewicht; masse; poids; peso; masa; waga; ciezar; massa"
_CURRENT = (
    "max current; max amps; max a; max; maximum current; continuous current; continuous amps; cont current; cont amps; "
    "constant current; rated current; current rating; amp rating; current max; max continuous current; i max; imax; "
    "max load current; strom max; maximalstrom; max strom; dauerstrom; courant max; courant maxi; courant continu; "
    "intensite max; corriente max; corriente maxima; corriente continua; corrente max; corrente massima; "
    "corrente continua; prad max; prad ciagly; max stroom"
)
_BURST = (
    "burst; burst current; burst amps; burst a; peak current; peak amps; peak; peak a; surge current; "
    "short time current; spitzenstrom; courant de pointe; corriente de pico; pico; corrente di picco; picco; "
    "prad chwilowy; piekstroom"
)
_CELLS = (
    "cells; lipo cells; cell count; number of cells; no of cells; cells number; lipo; cells s; s; zellen; "
    "zellenzahl; anzahl zellen; elements; nombre elements; nb elements; celdas; celle; cele; liczba cel; cellen"
)
_VOLTAGE = (
    "voltage; volts; v; input voltage; working voltage; nominal voltage; spannung; nennspannung; betriebsspannung; "
    "tension; tension nominale; voltaje; tensione; napiecie; spanning"
)
_CURRENTS = "current; amps; amp; a; amperage; strom; courant; intensite; corriente; corrente; prad; stroom"
_SPEED = "rpm; speed; turns; n; revs; drehzahl; regime; tours; giri; obroty; toeren; u min; tr min"
_THRUST = "thrust; static thrust; thrust at rest; schub; standschub; poussee; empuje; spinta; ciag"
_THROTTLE = "throttle; throttle position; stick; gas; gasstellung; gaz; acelerador; acceleratore; przepustnica"
_SHARED = {
    "name": _NAME,
    "mass_g": _MASS,
    "notes": "notes; note; remarks; remark; comment; comments; bemerkung; bemerkungen; remarques; notas; uwagi",
    "count": "qty; quantity; pcs; pieces; count; how many; have; stock; anzahl; menge; stuck; quantite; qte; "
    "cantidad; quantita; ilosc; sztuk; aantal",
    "price": "price; cost; unit price; preis; prix; precio; prezzo; cena; prijs",
    "source": "source; where from; quelle",
}
WORDS: Mapping[type, Mapping[str, str]] = {
    Motor: _SHARED | {
        "name": f"{_NAME}; motor; motors; brushless motor; moteur; motore; silnik",
        "kv_rpm_per_v": "kv; speed constant; kv rating; rpm v; rpm volt; kv value; drehzahlkonstante; drehzahl v; "
        "u min v; spezifische drehzahl; kv label; kv nominal; kv measured; measured kv; label kv; tr min v; giri v; "
        "obr v; obr min v",
        "resistance_ohm": "rm; r; ri; resist; resistance; winding resistance; internal resistance; motor resistance; "
        "phase resistance; ir; innenwiderstand; wicklungswiderstand; widerstand; resistance interne; resistencia; "
        "resistenza; resistenza interna; rezystancja; opor; weerstand",
        "no_load_current_a": f"io; i0; no load current; no load amps; idle current; no load; leerlaufstrom; "
        f"leerlauf; courant a vide; corriente en vacio; corrente a vuoto; prad jalowy; {_CURRENTS}",
        "no_load_voltage_v": "v0; uo; u0; no load voltage; io voltage; leerlaufspannung; tension a vide",
        "max_current_a": f"{_CURRENT}; {_CURRENTS}",
        "burst_current_a": _BURST,
        "burst_seconds": "burst time; burst seconds; peak time",
        "max_power_w": "max power; power; max watts; watts; watt; p max; pmax; max continuous power; power max; "
        "leistung; max leistung; leistung max; puissance; puissance max; puissance maxi; potencia; potencia max; "
        "potencia maxima; potenza; potenza max; potenza massima; moc; moc max; vermogen; max vermogen",
        "gear_ratio": "gear; gear ratio; gearbox; getriebe; untersetzung; ubersetzung; reduction; reductor; riduttore",
        "cells": f"{_CELLS}; battery; akku",
        "voltage": _VOLTAGE,
        "cells_min": "min cells; cells min",
        "cells_max": "max cells; cells max; max lipo; max s",
    },
    Controller: _SHARED | {
        "name": f"{_NAME}; esc; controller; speed controller; regler; variateur; variador; regolatore",
        "max_current_a": f"{_CURRENT}; {_CURRENTS}",
        "burst_current_a": _BURST,
        "burst_seconds": "burst time; burst seconds; peak time",
        "resistance_mohm": "r; resistance; on resistance; rds; rds on; rdson; widerstand",
        "part_throttle_loss": "loss; part throttle loss",
        "servo_supply": "bec; sbec; ubec; bec type; bec output; servo supply; bec voltage; empfangerstromversorgung",
        "cells": f"{_CELLS}; battery; akku",
        "voltage": _VOLTAGE,
        "cells_min": "min cells; cells min",
        "cells_max": "max cells; cells max; max lipo; max s",
    },
    Pack: _SHARED | {
        "name": f"{_NAME}; battery; pack; akku; batterie; accu; bateria; batteria; akumulator",
        "capacity_mah": "capacity; cap; mah; kapazitat; capacite; capacidad; capacita; pojemnosc; capaciteit",
        "c_rating": "c; c rate; c rating; discharge; discharge rate; discharge c; rate; continuous c; cont c; c cont; "
        "c continuous; max discharge; discharge rating; constant discharge; entladerate; entladung; c rate dauer; "
        "taux de decharge; decharge; descarga; tasa de descarga; scarica; wydajnosc; pradowa; ontlading",
        "burst_c_rating": "burst; burst c; burst c rating; peak c; c burst; burst discharge; c peak; max burst c; pico",
        "cells_parallel": "p; parallel; parallel cells; cells parallel; cells in parallel",
        "cell_resistance_mohm": "ir; ri; internal resistance; cell; cell ir; ir per cell; ir cell; cell resistance; "
        "resistance per cell; innenwiderstand; innenwiderstand je zelle; resistance interne; resistencia interna; "
        "resistenza interna; rezystancja wewnetrzna; inwendige weerstand",
        "lead_resistance_mohm": "leads; lead resistance",
        "chemistry": "chemistry; cell type; type; technology; chemie; chimie; quimica; chimica; typ; tipo",
        "cells": _CELLS + "; cells in series; series; configuration; config",
        "voltage": _VOLTAGE,
    },
    Propeller: _SHARED | {
        "name": f"{_NAME}; prop; propeller; props; luftschraube; latte; helice; elica; smiglo",
        "diameter_in": "d; dia; diameter; diam; durchmesser; diametre; diametro; srednica",
        "pitch_in": "pitch; p; steigung; pas; paso; passo; skok; spoed",
        "blades": "blades; blade count; number of blades; no of blades; blatter; blattzahl; pales; nombre de pales; "
        "palas; pale; lopaty; bladen; n blades",
        "max_rpm": "max rpm; rpm limit; rpm max; max speed; maximaldrehzahl; max drehzahl; regime max",
        "family": "family; familie; famille; familia; famiglia; shape; blade shape; type; typ; tipo",
        "chord_75_mm": "chord; chord 75; chord at 75; blade width; blattbreite; blatttiefe; corde; cuerda; corda",
        "angle_75_deg": "angle; angle 75; angle at 75; blade angle; blattwinkel; angle de pale; angulo; angolo",
        "read_rpm": "read rpm; test rpm; tested rpm; bench rpm; static rpm; rpm at rest; standdrehzahl",
        "read_shaft_w": "shaft; shaft power; shaft watts; wellenleistung",
        "read_input_w": "input; input power; power in; watts in; watts; wattmeter; eingangsleistung",
        "read_thrust_gf": _THRUST,
        "reads_like": "reads like; line; reads like line",
        "sibling": "like; same make as; make of; wie; comme; como; come",
        "size": "size; dimensions; diameter x pitch; diameter pitch; dia x pitch; prop size; prop; propeller; props; "
        "grosse; abmessung; luftschraube; latte; taille; helice; medida; misura; elica; rozmiar; smiglo; maat",
    },
}  # fmt: skip
"""Field to the headings that mean it, without accents; a phrase beside two fields is ambiguous and asked for."""

_READINGS = {
    "motor": "motor; motors; motor name; name; moteur; motore; silnik",
    "label_kv": "kv; label kv; kv label; kv nominal",
    "mass_g": _MASS,
    "cells": _CELLS,
    "propeller": "propeller; prop; props; luftschraube; latte; helice; elica; smiglo; prop size; size",
    "throttle": _THROTTLE,
    "volts": _VOLTAGE,
    "amps": _CURRENTS,
    "rpm": _SPEED,
    "thrust_gf": _THRUST,
    "torque_nm": "torque; drehmoment; couple; coppia; par; moment",
    "charge_mah": "charge; mah; capacity used; consumed; verbrauch; ladung",
    "seconds": "seconds; time; zeit; temps; tiempo; tempo; czas; tijd",
    "temperature_c": "temperature; temp; temperatur; temperatura",
}
"""Column of a bench log to the headings that mean it."""
_LETTERS = tuple(frozenset(letter) for letter in "mns")
"""Too little for a column of a log."""
_UNSAID = {"of", "the", "per", "de", "du", "des", "del", "della", "di", "der", "je"}


def _form(name: str, doc: str, unit: str = "") -> dict[str, Declared]:
    return {name: Declared(kind="short form", name=name, unit=unit, doc=doc)}


_SPAN = _form("cells", "a count or range of cells like 3S or 2-3S") | _form(
    "voltage", "the nominal voltage of so many cells, or a range of it, like 7.4-11.1 V", "V"
)
SEVERAL: Mapping[type, Mapping[str, Declared]] = {
    Motor: _SPAN,
    Controller: _SPAN,
    Pack: _form("cells", "cells like 3S or 3S2P") | _form("voltage", "a nominal voltage like 11.1 V", "V"),
    Propeller: _form("size", "diameter x pitch in inches like 7x4, or 7x4x3 with the blades", "in"),
}
"""Headings whose cells fill other fields, or several at once."""
STANDS_FOR = {"cells": ("cells_series",), "voltage": ("cells_series",), "size": ("diameter_in", "pitch_in")}
"""The needed fields that these fill."""
_KEYS_ALONE: tuple[frozenset[str], ...] = (frozenset(), frozenset({"max"}))
"""Too little for a heading: typed before ``=`` a unit stands behind it."""
BARE_UNIT: Mapping[type, Mapping[str, str]] = {
    Motor: {"rpm/V": "kv_rpm_per_v", "g": "mass_g", "ohm": "resistance_ohm", "W": "max_power_w"},
    Controller: {"A": "max_current_a", "g": "mass_g", "mohm": "resistance_mohm"},
    Pack: {"mAh": "capacity_mah", "1/h": "c_rating", "g": "mass_g"},
    Propeller: {"g": "mass_g", "rpm": "max_rpm", "W": "read_input_w", "gf": "read_thrust_gf"},
}
"""What a number with this unit means where no key or heading is given, by unit of ours."""
KIND_WORDS = {
    "motors": "motor motors outrunner inrunner motoren moteur moteurs motore motori silnik",
    "controllers": "esc escs controller controllers regler steller variateur variateurs variador regolatore regulator",
    "packs": "pack packs battery batteries lipo akku akkus batterie batteries bateria baterias batteria accu",
    "propellers": "prop props propeller propellers luftschraube luftschrauben helice helices elica eliche smiglo",
}
"""Words of a column that says what a row is."""
KIND_HEADINGS = "kind; type; category; part type; item type; art; kategorie; typ; tipo; categorie; categoria; rodzaj"
SIGNATURE: Mapping[str, tuple[str, ...]] = {
    "motors": ("kv_rpm_per_v",), "packs": ("capacity_mah",), "propellers": ("diameter_in", "pitch_in"),
}  # fmt: skip
"""Fields that only parts of this kind have; a controller is what has a current and none of them."""


@attrs.frozen
class Meant:
    """A field that a heading means: its declaration, the unit the heading says, and whether it is ours word by word."""

    rule: Declared
    unit: str = ""
    exact: bool = False


def same_words(text: str) -> frozenset[str]:
    """The words of a heading without order, case, accents, marks and small words."""
    bare = unicodedata.normalize("NFKD", text.replace("ß", "ss").replace("ł", "l").replace("Ł", "l"))
    letters = "".join(sign for sign in bare if not unicodedata.combining(sign)).casefold()
    return frozenset(re.findall(r"[^\W_]+", letters)) - _UNSAID


@lru_cache
def phrases(cls: type) -> Mapping[str, frozenset[frozenset[str]]]:
    """Field to every set of words that means it: its name with and without the unit, and the words above."""
    known = {rule.name: rule for rule in declared(cls)} | dict(SEVERAL.get(cls, {}))
    table = WORDS.get(cls, {})
    found = {}
    for name, rule in known.items():
        own = {same_words(name)}
        if rule.unit and name.endswith(f"_{rule.unit.lower().replace('/', '_per_')}"):
            own.add(same_words(name[: -len(rule.unit.replace("/", "_per_")) - 1]))
        found[name] = frozenset(own | {same_words(each) for each in table.get(name, "").split(";") if each.strip()})
    return found


@lru_cache
def _reading_words() -> Mapping[frozenset[str], str]:
    several = ((same_words(each), name) for name, words in _READINGS.items() for each in (name, *words.split(";")))
    return {words: name for words, name in several if words not in _LETTERS}


def reading_meant(heading: str) -> tuple[str, str]:
    """The column of a bench log that a heading means, and the unit that it says; both empty where none is known."""
    for base, unit in reversed(list(_splits(heading))):
        name = _reading_words().get(same_words(base), "")
        if name and (not unit or is_unit(unit) or heading.endswith(tuple("])}"))):
            return name, unit
    return "", ""


def _splits(heading: str) -> Iterator[tuple[str, str]]:
    """The words of a heading and what may be its unit: the whole, in brackets, behind a mark, the last word."""
    yield heading, ""
    if found := re.fullmatch(r"(.*?)\s*[\[({]\s*(?:in\s+)?([^\])}]*?)\s*[\])}]\s*(.*)", heading):
        yield f"{found[1]} {found[3]}", found[2]
        return
    for pattern in (r"(.+?)\s*,\s*(?:in\s+)?(\S.*)", r"(.+?)\s*/\s*(\S+)", r"(.+)\s+in\s+(\S+)", r"(.+?)[\s_]+(\S+)"):
        if found := re.fullmatch(pattern, heading):
            yield found[1], found[2]


def meant(cls: type, heading: str, rules: Mapping[str, Declared]) -> tuple[Meant, ...] | str:
    """The fields of a class that a heading may mean: none, one, or several to choose from.

    Parameters
    ----------
    cls : type
        ``Motor``, ``Controller``, ``Pack`` or ``Propeller``.
    heading : str
    rules : mapping
        The columns of a table of that kind, by name.

    Returns
    -------
    tuple of Meant, or str
        A text says why the unit of the heading cannot be that of the field its words mean.
    """
    exact = heading if heading in rules else heading.lower()
    if exact in rules:
        return (Meant(rules[exact], exact=True),)
    known = dict(rules) | dict(SEVERAL.get(cls, {}))
    several = SEVERAL.get(cls, {})
    words_of = phrases(cls)
    wrong = ""
    for base, unit in _splits(heading):
        words = same_words(base)
        fields = [name for name in known if words not in _KEYS_ALONE and words in words_of.get(name, ())]
        fitting = [Meant(known[name], unit or _last_unit(known[name], base)) for name in fields
                   if not unit or _fits(known[name], unit)]  # fmt: skip
        if fitting:
            return tuple(fitting)
        bracketed = base != heading and heading.endswith(tuple("])}"))
        if fields and bracketed and not is_unit(unit):
            return tuple(Meant(known[name]) for name in fields if name not in several or same_words(unit) <= {"s"})
        if fields and unit and is_unit(unit):
            wrong = wrong or f"{known[fields[0]].name} is no number in {unit}"
    return _by_unit(cls, heading, rules) or wrong or ()


def _last_unit(rule: Declared, heading: str) -> str:
    """The unit that the last word of a heading is, as in ``max A`` and ``capacity_mah``."""
    last = re.split(r"[\s_(\[]+", heading.rstrip(" )]"))[-1]
    return last if _fits(rule, last) else ""


def _fits(rule: Declared, unit: str) -> bool:
    return bool(rule.unit) and conversion(unit, rule.unit) is not None


def _by_unit(cls: type, heading: str, rules: Mapping[str, Declared]) -> tuple[Meant, ...]:
    """A heading that is a unit alone: what a number with this unit is, or all it may be."""
    for ours, name in BARE_UNIT.get(cls, {}).items():
        if conversion(heading, ours) is not None:
            return (Meant(rules[name], heading),)
    return tuple(Meant(rule, heading) for rule in rules.values() if rule.unit and _fits(rule, heading))


def kind_in(text: str) -> str | None:
    """The one kind of part whose words stand in a text; None for none or several."""
    words = same_words(text)
    found = [kind for kind in KINDS if kind in words or words & set(KIND_WORDS[kind].split())]
    return found[0] if len(found) == 1 else None
