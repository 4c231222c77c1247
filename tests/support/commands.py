"""A brief and a train for the commands about the whole aircraft."""

import pytest

from support.bundled import PROPELLER, ids, nearest, parts_section

MOTOR = nearest("motors", mass_g=28, kv_rpm_per_v=1900, max_current_a=10)
CONTROLLER = nearest("controllers", max_current_a=20, servo_supply="linear")
PACK = nearest("packs", cells_series=2, capacity_mah=850, c_rating=45)
TRAIN_ID = " + ".join((MOTOR, CONTROLLER, PACK, PROPELLER))
TRAIN = ("--train", TRAIN_ID)
TYPED = ("--motor", MOTOR, "--propeller", PROPELLER, "--pack", PACK, "--controller", CONTROLLER)


@pytest.fixture
def narrow_brief(tmp_path):
    """The bundled wetland logger with few parts to choose from."""
    import propmatch_datasets

    text = propmatch_datasets.path("briefs/wetland_logger.toml").read_text(encoding="utf-8")
    text += "\n" + parts_section(
        motor=[MOTOR, *ids("motors", mass_g=(29, 42), max_current_a=(8, 20))],
        controller=ids("controllers", max_current_a=(19, 22)),
        pack=[PACK, *ids("packs", cells_series=3, capacity_mah=(560, 820))],
        propeller=[PROPELLER, *ids("propellers", diameter_in=5)],
    )
    path = tmp_path / "narrow.toml"
    path.write_text(text, encoding="utf-8")
    return str(path)
