"""A brief and a train for the commands about the whole aircraft."""

import pytest

TRAIN_ID = "bundled/2206-1900 + bundled/20a-linear + bundled/2s-850-45c + bundled/6x4-thin"
TRAIN = ("--train", TRAIN_ID)
TYPED = ("--motor", "bundled/2206-1900", "--propeller", "bundled/6x4-thin", "--pack", "bundled/2s-850-45c",
         "--controller", "bundled/20a-linear")  # fmt: skip


@pytest.fixture
def narrow_brief(tmp_path):
    """The bundled wetland logger with few parts to choose from."""
    import propmatch_datasets

    text = propmatch_datasets.path("briefs/wetland_logger.toml").read_text(encoding="utf-8")
    text += """
[parts]
motor = ["bundled/2206-1900", "bundled/2206-1500*", "bundled/2208*"]
controller = ["bundled/20a*"]
pack = ["bundled/2s-850*", "bundled/3s-850*", "bundled/3s-600*"]
propeller = ["bundled/6x4-thin", "bundled/5x3*", "bundled/5x4*"]
"""
    path = tmp_path / "narrow.toml"
    path.write_text(text, encoding="utf-8")
    return str(path)
