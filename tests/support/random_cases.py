"""Random small catalogues and briefs for the tests of the search; every number invented."""

import time
from typing import Any

import attrs
import numpy as np

from propmatch.brief import Aircraft, Brief, Limits, PackUse, Phase, Prefer, Radio, Site, Variant, Wing
from propmatch.checks.setting import Setting, settings
from propmatch.records.body import Body
from propmatch.records.launch import Launch
from propmatch.records.layout import Balance, ThrustLine
from propmatch.records.parts import FAMILIES, MOTOR_OFF, CoefficientTable, Controller, Motor, Pack, Propeller
from propmatch.search.bounds.drives import Drives
from propmatch.search.bounds.screen import Lanes
from propmatch.search.shelf import Shelf
from propmatch.search.sweep import Stock, Task

METRICS = ("flight_time", "thrust_to_weight", "mass", "top_speed", "climb", "margin")


def every_lane(drives: Drives, shelf: Shelf) -> Lanes:
    """Every propeller of a shelf with every drive, as a list."""
    propellers = len(shelf.propellers)
    return Lanes.every(drives.size, propellers).kept(np.ones((drives.size, propellers), dtype=bool))


def random_table(rng: np.random.Generator, pitch_ratio: float, blades: int) -> CoefficientTable:
    """Thrust and power falling over the advance ratio, drifting with rpm."""
    rpm = np.linspace(1500.0, rng.uniform(12000.0, 26000.0), rng.integers(2, 7))
    end = pitch_ratio * rng.uniform(1.15, 1.4)
    j = np.linspace(0.0, end * rng.uniform(0.8, 1.0), rng.integers(6, 14))
    solid = blades / 2.0
    drift = 1.0 + rng.uniform(-0.08, 0.08) * (rpm / rpm[-1] - 0.5)[:, None]
    ct = solid * rng.uniform(0.09, 0.12) * drift * (1.0 - (j / end) ** rng.uniform(1.4, 2.2))
    hump = 1.0 + rng.uniform(0.0, 0.25) * (j / end) * (1.0 - j / end)
    cp = solid * rng.uniform(0.03, 0.05) * pitch_ratio**0.8 * drift * hump * (1.0 - 0.9 * (j / end) ** 2.6)
    return CoefficientTable(rpm=rpm, advance_ratio=j, ct=ct, cp=cp)


def random_parts(rng: np.random.Generator, sizes: tuple[int, int, int, int]) -> dict[str, list[Any]]:
    """Motors, controllers, packs and propellers of a small electric aircraft, some of each alike."""
    motors, controllers, packs, propellers = [], [], [], []
    for i in range(sizes[0]):
        mass = float(np.exp(rng.uniform(np.log(14.0), np.log(70.0))))
        kv = float(rng.uniform(700.0, 2600.0))
        more: dict[str, Any] = {}
        if rng.random() < 0.6:
            more |= {"resistance_ohm": float(2.2e3 / kv / mass * rng.uniform(0.06, 0.12) * 10)}
        if rng.random() < 0.5:
            more |= {"no_load_current_a": float(rng.uniform(0.2, 1.2)), "no_load_voltage_v": 8.0}
            more |= {"no_load_exponent": float(rng.choice([0.0, 0.5, 0.8]))}
        if rng.random() < 0.5:
            more |= {"max_current_a": float(mass * rng.uniform(0.25, 0.6))}
        if rng.random() < 0.3:
            more |= {"burst_current_a": float(mass * rng.uniform(0.6, 0.9)), "burst_seconds": float(rng.uniform(5, 40))}
        if rng.random() < 0.4:
            more |= {"max_power_w": float(mass * rng.uniform(2.5, 5.0))}
        if rng.random() < 0.15:
            more |= {"gear_ratio": float(rng.uniform(1.5, 3.0)), "gear_efficiency": 0.95}
        if rng.random() < 0.4:
            more |= {"cells_min": 1, "cells_max": int(rng.integers(1, 5))}
        motors.append(Motor(name=f"motor {i}", id=f"m{i}", kv_rpm_per_v=kv, mass_g=mass, **more))
    for i in range(sizes[1]):
        amps = float(rng.choice([8.0, 12.0, 20.0, 30.0]))
        more = {"resistance_mohm": float(rng.uniform(2, 10))} if rng.random() < 0.6 else {}
        if rng.random() < 0.5:
            more |= {"burst_current_a": amps * 1.3, "burst_seconds": float(rng.choice([10.0, 35.0]))}
        more |= {"max_current_estimated": bool(rng.random() < 0.2)}
        more |= {"servo_supply": str(rng.choice(["none", "linear", "switching"]))}
        controllers.append(
            Controller(
                name=f"controller {i}", id=f"c{i}", max_current_a=amps, mass_g=amps * float(rng.uniform(0.5, 1.0)),
                part_throttle_loss=float(rng.choice([0.0, 0.05, 0.1, 0.2])), cells_min=1,
                cells_max=int(rng.integers(2, 7)), **more,
            )
        )  # fmt: skip
    for i in range(sizes[2]):
        cells, capacity = int(rng.integers(1, 4)), float(rng.choice([450.0, 850.0, 1300.0, 2200.0]))
        more = {"cell_resistance_mohm": float(rng.uniform(5, 30))} if rng.random() < 0.5 else {}
        if rng.random() < 0.3:
            more |= {"burst_c_rating": 100.0}
        more |= {"c_rating_estimated": bool(rng.random() < 0.2)}
        kinds = ["lipo", "lipo", "lihv", "liion", "liion", "lifepo4", "nimh"]
        packs.append(
            Pack(
                name=f"pack {i}", id=f"p{i}", chemistry=str(rng.choice(kinds)),
                cells_series=cells, capacity_mah=capacity, c_rating=float(rng.choice([10.0, 20.0, 35.0, 90.0])),
                mass_g=cells * capacity * float(rng.uniform(0.018, 0.03)), **more,
            )
        )  # fmt: skip
    for i in range(sizes[3]):
        diameter, ratio = float(rng.choice([4.0, 5.0, 6.0, 7.0, 8.0, 9.0])), float(rng.uniform(0.45, 1.0))
        blades = int(rng.choice([2, 2, 2, 3]))
        more = {"max_rpm": float(rng.uniform(8000, 26000))} if rng.random() < 0.5 else {}
        if rng.random() < 0.5:
            more |= {"family": str(rng.choice(sorted(FAMILIES)))}
        propellers.append(
            Propeller(
                name=f"propeller {i}", id=f"q{i}", diameter_in=diameter, pitch_in=diameter * ratio, blades=blades,
                table=random_table(rng, ratio, blades), **more,
            )
        )  # fmt: skip
    for kind in (motors, controllers, packs, propellers):
        if len(kind) > 2 and rng.random() < 0.3:
            kind[-1] = type(kind[0])(**{**_fields(kind[0]), "name": "the same again", "id": "same"})
    return {"motors": motors, "controllers": controllers, "packs": packs, "propellers": propellers}


def _fields(part: Any) -> dict[str, Any]:
    return {a.name: getattr(part, a.name) for a in attrs.fields(type(part))}


def random_phases(rng: np.random.Generator) -> tuple[Phase, ...]:
    """Climb out, held speeds, glides, landing, heights to reach; sometimes a list without shares."""
    speed = float(rng.uniform(8.0, 14.0))
    kind = rng.integers(0, 18)
    climb = Phase(name="climb out", throttle=1.0, seconds=float(rng.uniform(5, 40)))
    cruise = Phase(name="cruise", airspeed_m_s=speed, load_factor=float(rng.choice([1.0, 1.2])), share=1.0)
    glide = Phase(name="glide", throttle=0.0, airspeed_m_s=9.0, share=0.4)
    part = Phase(name="part throttle", throttle=float(rng.uniform(0.4, 0.9)), share=0.5)
    down = Phase(name="descent", airspeed_m_s=speed, climb_m_s=-float(rng.uniform(0.2, 4.0)), share=0.3)
    land = Phase(name="landing", airspeed_m_s=0.9 * speed, seconds=float(rng.uniform(10, 60)))
    up = Phase(name="climb", airspeed_m_s=speed, climb_m_s=1.0, seconds=40.0)
    loop = (Phase(name="up", throttle=1.0, seconds=30.0), Phase(name="along", airspeed_m_s=speed, seconds=60.0))
    short = Phase(name="short", throttle=1.0, seconds=float(rng.uniform(2, 9)))
    long = Phase(name="long", throttle=float(rng.uniform(0.85, 0.95)), seconds=float(rng.uniform(20, 400)))
    high = Phase(name="to height", throttle=float(rng.uniform(0.7, 1.0)), to_height_m=float(rng.uniform(20, 150)))
    low = Phase(name="down again", throttle=0.0, to_height_m=float(rng.uniform(0, 20)))
    steady = Phase(name="steady climb", airspeed_m_s=speed, climb_m_s=1.5, to_height_m=60.0)
    off = Phase(name="off", throttle=0.0, seconds=float(rng.uniform(20, 300)))
    thermal = Phase(name="motor climb", throttle=1.0, share=0.2)
    return [
        (climb, cruise), (cruise,), (climb, cruise, glide), (climb, part), (climb, up, cruise, down, land),
        (climb, cruise, land), loop, (short, cruise), (short, long), (short, long, glide),
        (high, cruise, glide, low), (high, off), (high, low), (steady, cruise, down, off), (thermal, glide),
        (thermal, part, glide), (climb, off, loop[1]), (high, thermal, cruise, glide, land),
    ][kind]  # fmt: skip


def random_brief(rng: np.random.Generator) -> Brief:
    """Limits and preferences of every kind."""
    bare = float(rng.uniform(80.0, 300.0))
    span = float(rng.uniform(700.0, 1200.0))

    def maybe(chance: float, low: float, high: float) -> float | None:
        return float(rng.uniform(low, high)) if rng.random() < chance else None

    names = rng.permutation(METRICS)[: rng.choice([1, 1, 1, 2, 3])]
    balance, total = None, rng.random() < 0.5
    if rng.random() < 0.3:
        balance = Balance(
            target_cg_mm=200.0, cg_tolerance_mm=float(rng.uniform(1, 10)), bare_cg_mm=float(rng.uniform(210, 260)),
            pack_tray_from_mm=50.0, pack_tray_to_mm=190.0, motor_mm=10.0, controller_mm=90.0,
        )  # fmt: skip
    brief = Brief(
        aircraft=Aircraft(
            name="invented", bare_mass_g=bare, target_mass_g=maybe(0.7, 1.3 * bare, 2.2 * bare),
            motor_count=int(rng.choice([1, 1, 2])),
            radio_current_a=float(rng.choice([0.0, 0.2, 0.8])) if total else None,
            receiver_supply_mass_g=(None, 0.0, float(rng.uniform(1.0, 25.0)))[rng.integers(3)],
            motor_off=(None, None, *MOTOR_OFF)[rng.integers(2 + len(MOTOR_OFF))],
        ),
        radio=None if total or rng.random() < 0.3 else Radio(servos=int(rng.integers(0, 7)), servo_size="mini"),
        wing=Wing(area_dm2=span * span / 7.0 / 1e4, span_mm=span, cd0=float(rng.uniform(0.03, 0.07)), cl_max=1.1,
                  installed_thrust=float(rng.uniform(0.8, 1.0))),
        limits=Limits(
            min_thrust_to_weight=maybe(0.7, 0.2, 0.8), min_flight_minutes=maybe(0.6, 1.0, 12.0),
            min_climb_m_s=maybe(0.25, 0.5, 4.0), min_launch_thrust_to_weight=maybe(0.2, 0.2, 0.6),
            max_propeller_diameter_in=maybe(0.5, 5.0, 9.0), max_wing_loading_g_dm2=maybe(0.3, 15.0, 50.0),
            reserve_charge=float(rng.choice([0.0, 0.2, 0.25, 0.3])), cutoff_cell_v=maybe(0.6, 0.8, 3.6),
            allow_burst=bool(rng.random() < 0.5), estimated_ratings=str(rng.choice(["exclude", "warn"])),
        ),
        variant=(Variant(name="heavier", bare_mass_g=1.15 * bare),) if rng.random() < 0.2 else (),
        phase=random_phases(rng),
        site=Site(
            altitude_m=float(rng.choice([0.0, 800.0])), temperature_c=15.0, pack_temperature_c=maybe(0.3, -20.0, 30.0)
        ),
        pack=PackUse(cycles=int(rng.choice([0, 150])), rest_h=float(rng.choice([0.0, 20.0]))),
        prefer=Prefer(**{str(name): float(rng.uniform(0.2, 1.0)) for name in names}),
        balance=balance,
        launch=random_launch(rng),
    )  # fmt: skip
    own = np.random.default_rng(int(1e6 * bare))  # what is drawn after it stays as it is
    return attrs.evolve(brief, **_near_the_disc(own, brief.aircraft.motor_count)) if balance else brief


def _near_the_disc(rng: np.random.Generator, motor_count: int) -> dict[str, Any]:
    """Sometimes a thrust line with a body, booms, wheels or a second motor beside the disc."""
    if rng.random() < 0.4:
        return {}
    side = float(rng.uniform(70.0, 160.0)) if motor_count > 1 else 0.0
    bodies = (
        None, Body(top_mm=float(rng.uniform(-110.0, -40.0))),
        Body(half_width_mm=15.0, boom_side_mm=side + float(rng.uniform(60.0, 140.0))) if side else None,
        Body(main_wheel_mm=120.0, main_wheel_height_mm=float(rng.uniform(-170.0, -80.0)), tail_wheel_mm=600.0,
             tail_wheel_height_mm=-20.0, wheel_shrink_mm=float(rng.uniform(0.0, 9.0))),
    )  # fmt: skip
    line = ThrustLine(height_mm=5.0, position_mm=10.0, side_mm=side, tilt_deg=float(rng.uniform(-5.0, 5.0)))
    return {"thrust_line": line, "body": bodies[rng.integers(4)]}


def random_launch(rng: np.random.Generator) -> Launch | None:
    """Mostly none; by hand with or without a limit, or from a runway."""
    kind, much = rng.integers(0, 8), float(rng.uniform(0.2, 1.0))
    if kind == 0:
        return Launch(kind="hand", throw_speed_m_s=2.0 + 6.0 * much, max_height_lost_m=much)
    if kind == 1:
        return Launch(kind="runway", surface="short grass", max_run_m=12.0 * much)
    return Launch(kind="hand") if kind == 2 else None


def random_case(seed: int, sizes: tuple[int, int, int, int] | None = None) -> tuple[Setting, Shelf]:
    """A setting and a shelf."""
    rng = np.random.default_rng(seed)
    if sizes is None:
        sizes = tuple(int(n) for n in rng.integers((1, 1, 2, 2), (9, 5, 9, 9)))  # type: ignore[assignment]
    return _case(random_parts(rng, sizes), random_brief(rng))


def cold_case(seed: int) -> tuple[Setting, Shelf]:
    """Weak and old packs on a cold morning, flown to the usual cutoff, and little else asked."""
    rng = np.random.default_rng(seed)
    parts = random_parts(rng, (6, 4, 6, 6))
    parts["packs"] = [
        attrs.evolve(pack, cell_resistance_mohm=float(rng.uniform(40.0, 120.0)) / (1e-3 * pack.capacity_mah))
        for pack in parts["packs"]
    ]
    site = Site(altitude_m=0.0, temperature_c=float(rng.uniform(-20.0, 9.0)))
    limits = Limits(reserve_charge=0.2, cutoff_cell_v=3.0 if rng.random() < 0.3 else None)
    brief = attrs.evolve(
        random_brief(rng), site=site, limits=limits, variant=(), balance=None, thrust_line=None, body=None
    )
    return _case(parts, attrs.evolve(brief, pack=PackUse(cycles=int(rng.choice([0, 200])))))


def bursting_case(seed: int) -> tuple[Setting, Shelf]:
    """Strong packs, and a brief that allows bursts for its short phases and asks for little else."""
    rng = np.random.default_rng(seed)
    parts = random_parts(rng, (7, 4, 4, 6))
    parts["packs"] = [attrs.evolve(pack, c_rating=300.0, burst_c_rating=None) for pack in parts["packs"]]
    motors = parts["motors"]
    for i in range(0, len(motors), 2):
        amps = motors[i].max_current_a or 0.3 * motors[i].mass_g
        motors[i] = attrs.evolve(
            motors[i], max_current_a=amps, burst_current_a=2.5 * amps, burst_seconds=20.0, max_power_w=None
        )
    brief = random_brief(rng)
    speed = float(rng.uniform(8.0, 14.0))
    phases = (
        Phase(name="short", throttle=1.0, seconds=float(rng.uniform(2, 19))),
        Phase(
            name="held", airspeed_m_s=speed, climb_m_s=float(rng.uniform(0.0, 6.0)), seconds=float(rng.uniform(2, 30))
        ),
        Phase(name="part", throttle=float(rng.uniform(0.5, 0.95)), seconds=float(rng.uniform(5, 300))),
        Phase(name="cruise", airspeed_m_s=speed, share=1.0),
    )
    limits = Limits(
        reserve_charge=0.2, cutoff_cell_v=2.8, allow_burst=True,
        estimated_ratings=str(rng.choice(["exclude", "warn"])),
    )  # fmt: skip
    flown = phases[: int(rng.integers(2, 5))]
    return _case(parts, attrs.evolve(brief, limits=limits, phase=flown, variant=(), balance=None,
                                      thrust_line=None, body=None))  # fmt: skip


def _case(parts: dict[str, list[Any]], brief: Brief) -> tuple[Setting, Shelf]:
    chosen = settings(brief)[-1]
    shelf = Shelf.of(
        parts["motors"], parts["controllers"], parts["packs"], parts["propellers"],
        **chosen.train_numbers,
    )  # fmt: skip
    return chosen, shelf


def some_tasks(count: int, sizes: tuple[int, int, int, int] = (4, 2, 4, 4)) -> list[Task]:
    """Matches of random briefs with random parts."""
    tasks = []
    for seed in range(count):
        rng = np.random.default_rng(seed)
        parts = random_parts(rng, sizes)
        stock = Stock(**{kind: tuple(named(parts[kind], kind)) for kind in parts})
        brief = random_brief(rng)
        limits = attrs.evolve(brief.limits, min_flight_minutes=1.0, cutoff_cell_v=None)
        free = attrs.evolve(brief, limits=limits)
        tasks.append(Task(name=f"site {seed}", brief=free, stock=stock, top=5))
    return tasks


def named(parts: list[Any], kind: str) -> list[Any]:
    """Parts with ids and names by number."""
    return [attrs.evolve(part, id=f"{kind}{i}", name=f"{kind} {i}") for i, part in enumerate(parts)]


def slowly(task: Task) -> tuple[str, int]:
    """The name of a task and how many motors its stock holds, after a moment."""
    time.sleep(0.3)
    return task.name, len(task.stock.motors)
