"""Put each fault of the list into a copy of the program and see that a quick test finds it.

``python -m tests.planted --only NAME --workers 2``

The tests must pass without any fault first, once for all of them. A fault counts as seen where a test
fails; one that stops Python from reading the file, or whose tests are not there, is broken. The exit
code is 1 unless all are seen.
"""

# ruff: noqa: T201 - this program prints its table

from __future__ import annotations

import argparse
import sys
import time
from collections import Counter
from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from queue import SimpleQueue
from tempfile import TemporaryDirectory

from tests.planted.catalogue import Fault, faults
from tests.planted.copies import MOST_SECONDS_OF_ALL, Ended, fill, judge, run


def main() -> int:
    """Judge the faults that are asked for."""
    parser = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    parser.add_argument("--only", default="", help="those with this in their area and name")
    parser.add_argument("--workers", type=int, default=1)
    parser.add_argument("--skip-baseline", action="store_true", help="take it that the tests pass")
    asked = parser.parse_args()
    chosen = [fault for fault in faults() if asked.only in words(fault)]
    if not chosen:
        parser.error(f"--only {asked.only}: no such fault; allowed is a part of an area or a name")
    start = time.perf_counter()
    with TemporaryDirectory(prefix="planted-") as scratch:
        copies = [fill(Path(scratch) / str(number)) for number in range(asked.workers)]
        if not asked.skip_baseline and not passes(chosen, copies[0]):
            return 1
        ended = judged(chosen, copies)
    counts = Counter(one.verdict for one in ended)
    told = ", ".join(f"{count} {verdict}" for verdict, count in counts.items())
    print(f"{len(ended)} faults: {told}; {time.perf_counter() - start:.0f} s in all")
    return int(counts["seen"] < len(ended))


def words(fault: Fault) -> str:
    """Area and name."""
    return f"{fault.area}: {fault.name}"


def passes(chosen: Sequence[Fault], copy: Path) -> bool:
    """Whether the tests of all faults pass while none is in."""
    start = time.perf_counter()
    code, said = run([test for fault in chosen for test in fault.seen_by], copy, MOST_SECONDS_OF_ALL)
    if code:
        print(said)
    ends = "do not pass" if code else "pass"
    print(f"The tests {ends} without any fault, {time.perf_counter() - start:.0f} s", flush=True)
    return not code


def judged(chosen: Sequence[Fault], copies: Sequence[Path]) -> list[Ended]:
    """Judge the faults, each in a copy that no other uses meanwhile, and print a line for each."""
    idle: SimpleQueue[Path] = SimpleQueue()
    for copy in copies:
        idle.put(copy)

    def one(fault: Fault) -> Ended:
        copy = idle.get()
        try:
            found = judge(fault, copy)
        finally:
            idle.put(copy)
        print(f"{found.verdict:8s} {found.seconds:5.1f} s  {words(fault)}  [{found.first}]", flush=True)
        return found

    with ThreadPoolExecutor(len(copies)) as lanes:
        return list(lanes.map(one, chosen))


if __name__ == "__main__":
    sys.exit(main())
