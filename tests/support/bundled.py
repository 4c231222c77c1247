"""Bundled parts chosen by what they are: ids change when the invented catalogue is made anew."""

import math
from functools import cache

from propmatch.catalogue.catalogue import Catalogue, load_catalogue

Range = tuple[float, float]


@cache
def bundled_catalogue() -> Catalogue:
    """The bundled catalogue, read once."""
    return load_catalogue(plugins=["bundled"])


def ids(kind: str, **wanted: str | float | Range) -> list[str]:
    """Ids of the bundled parts with these numbers (a pair is a range, both ends counting) and words."""

    def has(value: object, asked: object) -> bool:
        if isinstance(asked, tuple):
            return isinstance(value, int | float) and asked[0] <= value <= asked[1]
        return value == asked

    found = [
        name
        for name, part in bundled_catalogue().parts(kind).items()
        if all(has(getattr(part, key), asked) for key, asked in wanted.items())
    ]
    assert found, f"no bundled {kind} with {wanted}"
    return found


def nearest(kind: str, **wanted: str | float) -> str:
    """Id of the bundled part whose stated numbers come nearest, as ratios, among those with these words."""
    numbers = {key: value for key, value in wanted.items() if not isinstance(value, str)}
    words = {key: value for key, value in wanted.items() if isinstance(value, str)}
    stated = ids(kind, **words, **dict.fromkeys(numbers, (1e-9, 1e9)))
    parts = bundled_catalogue().parts(kind)
    return min(
        stated, key=lambda name: sum(abs(math.log(getattr(parts[name], key) / near)) for key, near in numbers.items())
    )


def parts_section(**patterns: list[str]) -> str:
    """The ``[parts]`` of a brief."""
    return "[parts]\n" + "".join(f"{part} = {names}\n" for part, names in patterns.items())


PROPELLER = nearest("propellers", diameter_in=6, pitch_in=4, family="thin")
"""An ordinary 6 in propeller for cases that want any."""
SMALL_PARTS = parts_section(
    motor=ids("motors", mass_g=(25, 42), kv_rpm_per_v=(1200, 2200)),
    controller=ids("controllers", max_current_a=(19, 22)),
    pack=ids("packs", cells_series=(2, 3), capacity_mah=820, chemistry="lipo"),
    propeller=ids("propellers", diameter_in=(6, 7), pitch_in=(3.5, 4.7)),
)
"""Few parts to choose from for a model of 400 g."""
