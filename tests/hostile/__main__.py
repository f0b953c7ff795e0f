"""Send changed input through every door of the program and print what it does not stand.

``python -m tests.hostile --count 20000 --seed 1 --door study``

A trial is at fault where it ends in a traceback, says nothing, lets a sign through that a terminal
obeys, takes more than a minute, or changes a file outside the folder that it was given. Each trial has
a number; with the seed it is the same again. The exit code is 1 if any is at fault.
"""

# ruff: noqa: T201 - this program prints its table

from __future__ import annotations

import argparse
import sys
import time
from collections import Counter
from pathlib import Path
from tempfile import TemporaryDirectory

from tests.hostile.doors import DOORS
from tests.hostile.guard import FAULT, peak_mb
from tests.hostile.trials import trial


def main() -> int:
    """Try the doors that are asked for, in turn."""
    parser = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    parser.add_argument("--count", type=int, default=400, help="trials of each door")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--first", type=int, default=0, help="number of the first trial")
    parser.add_argument("--door", choices=tuple(DOORS), action="append", help="all by default")
    asked = parser.parse_args()
    faults = 0
    for name in asked.door or DOORS:
        faults += _tried(name, range(asked.first, asked.first + asked.count), asked.seed)
    return int(faults > 0)


def _tried(name: str, numbers: range, seed: int) -> int:
    """Print how the trials of a door ended; how many were at fault."""
    counts: Counter[str] = Counter()
    longest, start = 0.0, time.perf_counter()
    with TemporaryDirectory(prefix="hostile-") as scratch:
        for number in numbers:
            begun = time.perf_counter()
            ended = trial(name, (seed, number), Path(scratch))
            longest = max(longest, time.perf_counter() - begun)
            counts[ended.how] += 1
            if ended.how == FAULT:
                print(
                    f"{name} --seed {seed} --first {number} --count 1\n{ended.said[-1500:]}", flush=True
                )
    told = ", ".join(f"{count} {how}" for how, count in sorted(counts.items()))
    took = f"longest {longest:.1f} s, {time.perf_counter() - start:.0f} s in all"
    print(f"{name}: {told}; {took}; peak {peak_mb():.0f} MB", flush=True)
    return counts[FAULT]


if __name__ == "__main__":
    sys.exit(main())
