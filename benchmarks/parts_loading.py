"""Reading parts at scale: 100,000 rows of mixed kinds, a table with planted faults, and a folder of measured tables.

Run ``python benchmarks/parts_loading.py [--rows N] [--measured FOLDER]``. The measured folder is a copy of an open
data set of propeller tables (for one, the UIUC Propeller Database); without it that part is left out.
"""

import argparse
import os
import random
import resource
import tempfile
import time
import tracemalloc
from collections.abc import Iterator
from pathlib import Path

from propmatch.files import write_file

HEADERS = {
    "motors": "id,name,kv_rpm_per_v,mass_g,resistance_ohm,no_load_current_a,max_current_a,cells_min,cells_max",
    "controllers": "id,name,max_current_a,mass_g,resistance_mohm,cells_min,cells_max",
    "packs": "id,name,cells_series,capacity_mah,c_rating,mass_g,cell_resistance_mohm",
    "propellers": "id,name,diameter_in,pitch_in,blades,mass_g,family",
}


def rows(kind: str, count: int, seed: int = 1) -> Iterator[str]:
    """Invented rows, all sound."""
    draw = random.Random(seed)
    for n in range(count):
        if kind == "motors":
            mass, kv = draw.uniform(8, 200), draw.uniform(500, 3000)
            ohm, idle = draw.uniform(0.02, 0.4), draw.uniform(0.2, 2)
            yield f"m{n},outrunner {n},{kv:.0f},{mass:.1f},{ohm:.3f},{idle:.2f},,2,4"
        elif kind == "controllers":
            amps = draw.uniform(6, 80)
            yield f"c{n},controller {n},{amps:.0f},{amps:.1f},{draw.uniform(2, 9):.1f},2,4"
        elif kind == "packs":
            cells, mah = draw.randint(1, 4), draw.randint(200, 4000)
            yield f"p{n},pack {n},{cells},{mah},{draw.randint(15, 60)},{cells * mah * 0.03 + 5:.1f},{12000 / mah:.1f}"
        else:
            inches = draw.uniform(4, 16)
            yield f"x{n},propeller {n},{inches:.1f},{inches * 0.6:.1f},2,{0.05 * inches**2.5:.1f},thick"


def write_parts(folder: Path, count: int) -> None:
    """``count`` rows, a quarter of each kind."""
    for kind, header in HEADERS.items():
        write_file(folder / f"{kind}.csv", "\n".join([header, *rows(kind, count // 4)]) + "\n", force=True)


def peak_mb() -> float:
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024


def load_many(count: int) -> None:
    from propmatch.catalogue.catalogue import load_catalogue
    from propmatch.records.parts import KINDS

    with tempfile.TemporaryDirectory() as name:
        write_parts(Path(name), count)
        before = peak_mb()
        start = time.perf_counter()
        catalogue = load_catalogue(plugins=["parts"], parts=name)
        read = {kind: len(catalogue.listed(kind)) for kind in KINDS}
        took = time.perf_counter() - start
        print(f"{sum(read.values())} parts read in {took:.2f} s, {took / count * 1e6:.1f} us each, "
              f"{peak_mb() - before:.0f} MB more at most")  # fmt: skip
        for words, where in (("motors", {"patterns": ("1450",)}), ("packs", {"where": lambda part: part.mass_g < 60})):
            start = time.perf_counter()
            found = catalogue.select(words, *where.get("patterns", ()), where=where.get("where"))
            print(
                f"  filter of {read[words]} {words}: {len(found)} found in {(time.perf_counter() - start) * 1e3:.0f} ms"
            )
        start = time.perf_counter()
        doubts = catalogue.warnings
        print(f"  plausibility of all: {len(doubts)} warnings in {time.perf_counter() - start:.2f} s")
        part = catalogue.listed("motors")["parts/m0"]
        tracemalloc.start()
        again = load_catalogue(plugins=["parts"], parts=name)
        again.listed("motors")
        print(f"  a part keeps {tracemalloc.get_traced_memory()[0] / read['motors']:.0f} bytes ({part.name})")
        tracemalloc.stop()


def load_faulty() -> None:
    from propmatch.catalogue.catalogue import load_catalogue

    lines = [HEADERS["motors"], *rows("motors", 10_000)]
    draw = random.Random(2)
    spoiled = sorted(draw.sample(range(1, len(lines)), 200))
    for at in spoiled:
        cells = lines[at].split(",")
        cells[2 + at % 3] = ("900 rpm", "-5", "NA")[at % 3]
        lines[at] = ",".join(cells)
    with tempfile.TemporaryDirectory() as name:
        write_file(Path(name) / "motors.csv", "\n".join(lines) + "\n")
        start = time.perf_counter()
        catalogue = load_catalogue(plugins=["parts"], parts=name)
        good, faults = len(catalogue.listed("motors")), catalogue.faults
        print(f"10,000 rows with 200 faults: {good} parts, {len(faults)} faults in {time.perf_counter() - start:.2f} s")


def load_measured(folder: Path) -> None:
    import numpy as np

    from propmatch_plugins.measured_tables import read_tables

    with tempfile.TemporaryDirectory() as cache:
        os.environ["XDG_CACHE_HOME"] = cache
        before = peak_mb()
        start = time.perf_counter()
        read = read_tables(folder)
        took = time.perf_counter() - start
        start = time.perf_counter()
        read_tables(folder)
        again = time.perf_counter() - start
        size = f"{peak_mb() - before:.0f} MB more at most"
        print(f"{folder.name}: {len(read.propellers)} propellers read, {len(read.set_aside)} set aside")
        print(f"  in {took:.1f} s ({again:.2f} s from the cache), {size}")
        for fault in read.set_aside:
            print(f"  set aside: {fault}")
        changes = [each.changes for each in read.propellers]
        for name in ("points", "static_points", "duplicates", "unsorted", "windmilling", "merged_speeds", "averaged"):
            print(f"  {name}: {sum(getattr(each, name) for each in changes)}")
        moved = [each.moved for each in changes]
        print(f"  worst resampling error {max(moved):.3%}, median {np.median(moved):.3%} of the greatest value")
        off = np.concatenate([_published_off(each) for each in read.propellers])
        print("  against every point as published, repeats that contradict each other and joined speeds included:")
        print(f"  median {np.median(off):.3%}, beyond 0.2 % {np.mean(off > 0.002):.1%} of the points, "
              f"99 of 100 within {np.quantile(off, 0.99):.2%}, worst {off.max():.2%}")  # fmt: skip
        sizes = sorted(each.grid[0] * each.grid[1] for each in changes)
        print(f"  nodes of a table: median {sizes[len(sizes) // 2]}, most {sizes[-1]}")


def _published_off(each):  # type: ignore[no-untyped-def]
    import numpy as np

    points = each.points
    found = each.propeller.table.lookup(points.rpm, points.j)
    scale = np.array([np.abs(points.ct).max(), np.abs(points.cp).max()])
    return np.max(np.abs(np.stack([found.ct - points.ct, found.cp - points.cp])) / scale[:, None], axis=0)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--rows", type=int, default=100_000)
    parser.add_argument("--measured", type=Path, default=os.environ.get("PROPMATCH_MEASURED"))
    parser.add_argument("--smoke", action="store_true", help="a small run, to see that it works")
    options = parser.parse_args()
    if options.smoke:
        options.rows = 2_000
    if options.measured:
        load_measured(Path(options.measured))
    load_faulty()
    load_many(options.rows)


if __name__ == "__main__":
    main()
