"""The trade's words and this project's, a line each: ``propmatch words`` prints them, the README lists the same."""

__all__ = ["GLOSSARY", "glossary_lines"]

GLOSSARY = {
    "all-up mass (AUW)": "everything that flies, the battery pack with it; `all_up_mass_g`",
    "battery": "the pack: `--pack` or `--battery`; LiPo is `chemistry = lipo`; 2S is two cells in series",
    "BEC": "supply for receiver and servos, in the ESC or apart: `servo_supply`",
    "brushless motor": "the only kind here, with rotating case (outrunner) or not: `parts motors`",
    "C rating": "current over capacity: 30C of 1000 mAh is 30 A; usable is less: `c_rating`",
    "CG": "centre of gravity, in mm aft of the datum: `[balance]`, `target_cg_mm`",
    "cubic loading": "mass over wing area^1.5, which compares models of any size: `cubic_loading_kg_m3`",
    "cutoff (LVC)": "lowest voltage of a cell at which the ESC stops the motor: `cutoff_cell_v`",
    "down thrust": "tilt of the propeller's shaft, nose down: `[thrust_line]`",
    "duty": "what the ESC makes of the stick, 0 to 1: `throttle`; not the position of the stick",
    "ESC": "electronic speed controller: `--controller` or `--esc`, `parts esc`",
    "full battery": "just charged and rested for no time; voltages fall from there",
    "gf": "grams of thrust: the weight of so many grams, 1 gf = 0.0098 N",
    "hand launch": "speed and height of the throw: `[launch]`",
    "IR": "internal resistance of a cell: `cell_resistance_mohm`",
    "kV": "rpm for each volt; the label kV usually stands above the measured kV: `kv_rpm_per_v`, `kv_kind`",
    "power loading": "power from the pack for each kg, W/kg: `pack_power_per_mass_w_kg`",
    "power train": "motor, propeller, ESC and pack together: `--train`",
    "prop": "the propeller: `--propeller` or `--prop`, `parts props`; 7x4 is 7 in across, 4 in pitch",
    "pusher": "a propeller behind the motor; `[thrust_line]` says where it sits",
    "stall": "the slowest airspeed of level flight: `stall_speed_m_s`",
    "static": "at no airspeed, on the ground or in the hand",
    "T/W": "thrust to weight, static at half charge: `thrust_to_weight`",
    "wing loading": "all-up mass over wing area, g/dm2: `max_wing_loading_g_dm2`",
    "wire and connector": "between ESC and pack: `lead_resistance_mohm`",
}
"""Word to what it means, and what it is called in options and data."""


def glossary_lines() -> list[str]:
    """The glossary as lines of Markdown."""
    return [f"- **{word}**: {meaning}." for word, meaning in GLOSSARY.items()]
