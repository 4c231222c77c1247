"""The pruned search beside judging every combination, on seeded random cases of every kind that a user can write.

Run ``python benchmarks/exact.py [--cases N] [--first SEED] [--chances EACH] [--smoke]``. A case is a brief, one of its
variants and a small catalogue (``tests/support/written.py``). Compared are order, scores, what passes and what is left
out, as ``match`` asks and of all cell counts together; what passes is asked for a value that is NaN. Of every so many
cases the rows that hold with the chances asked for are compared too. It ends with the number of cases and differences.
"""

import argparse
import os
import sys
import time
import warnings
from collections import Counter
from pathlib import Path

for threads in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ.setdefault(threads, "1")
sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "tests"))

from support.compared import compare


def main() -> int:
    options = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    options.add_argument("--cases", type=int, default=20_000)
    options.add_argument("--first", type=int, default=0, help="seed of the first case")
    options.add_argument("--chances", type=int, default=0, metavar="EACH", help="compare what holds in every so many")
    options.add_argument("--smoke", action="store_true", help="30 cases")
    asked = options.parse_args()
    count = 30 if asked.smoke else asked.cases
    tried: Counter[str] = Counter()
    left_out: Counter[str] = Counter()
    start = time.process_time()
    warnings.simplefilter("error")
    for seed in range(asked.first, asked.first + count):
        with_chances = bool(asked.chances) and seed % asked.chances == 0
        try:
            found = compare(seed, with_chances=with_chances)
        except Exception as error:  # a search that breaks is a difference, and the rest is still worth knowing
            print(f"seed {seed}: {type(error).__name__}: {error}", flush=True)
            tried["differences"] += 1
            continue
        tried["cases"] += 1
        tried["without parts or cells"] += found.empty
        tried["where something passes"] += found.passing > 0
        tried["combinations"] += found.combinations
        tried["differences"] += bool(found.differences)
        left_out.update(found.left_out)
        for word in found.differences:
            print(f"seed {seed}: {word}", flush=True)
        if (seed - asked.first) % 100 == 99:
            print(f"{dict(tried)}, {time.process_time() - start:.0f} s", flush=True)
    print(f"{count} cases from seed {asked.first}: {tried['differences']} differ; {dict(tried)}")
    print(f"checks that leave something out, by cases: {dict(left_out.most_common())}")
    print(f"{time.process_time() - start:.0f} s")
    return 1 if tried["differences"] else 0


if __name__ == "__main__":
    sys.exit(main())
