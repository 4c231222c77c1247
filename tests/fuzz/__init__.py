"""Fuzzing on demand and in CI: every reader, typed part, option, answer and solver, against judges of their own.

One generator for each way in takes a ``random.Random``; seeded numbers, hypothesis or coverage (atheris) may feed it::

    python -m tests.fuzz --seconds 60          CPU seconds, shared by all
    python -m tests.fuzz --hours 8 --seed 3    wall time
    python -m tests.fuzz --inputs 1000000
    python -m tests.fuzz --again log:1:4711    one input once more, shown
    python -m tests.fuzz --guided typed        atheris, until stopped

What counts as a finding: an exception, a process that dies, more than five seconds of CPU, and a number taken that is
none of those a careful person reads (:mod:`~fuzz.oracle`), where a fault would have been right.
"""
