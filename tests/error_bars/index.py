"""Does the index of three meshes hold a fourth one's value, which it has not seen?

``python -m tests.error_bars.index plate nail --out results/index``

Runs constructs of ``chosen-average.toml`` at the three levels and on a mesh finer than ``fine``, and
holds the index of each level against the fourth value. Half an hour a nail; a mesh that is done is not
run again.
"""

from __future__ import annotations

import argparse
import csv
from collections import defaultdict
from collections.abc import Iterator
from dataclasses import replace
from math import isfinite
from pathlib import Path

import numpy as np

from pipeline.fem.kernels.threads import use_threads
from pipeline.fem.meshing.sizes import LEVELS, Sizes
from pipeline.run.case import Case
from pipeline.run.clock import Clock
from pipeline.run.planning import plan
from pipeline.run.solving import run_case
from pipeline.study.config import load_study
from pipeline.tables.convergence import Estimate, estimate
from pipeline.tables.errors import at_least

STUDY = Path(__file__).parent / "chosen-average.toml"
MESHES: dict[str, Sizes] = {**LEVELS, "fourth": LEVELS["fine"].finer()}
Values = dict[tuple[str, ...], tuple[float, float]]


def values(case: Case, mesh: str, out: Path) -> tuple[Values, float]:
    """Values of a case by what they are, each with its bar, and the size of the cells."""
    file = out / f"{case.name}-{mesh}.csv"
    if not file.exists():
        LEVELS["fine"] = MESHES["fourth" if mesh == "fourth" else "fine"]
        found = run_case(replace(case, level="fine" if mesh == "fourth" else mesh), Clock())
        out.mkdir(parents=True, exist_ok=True)
        with file.open("w", newline="") as stream:
            lines = csv.writer(stream)
            lines.writerow(["cells", found.facts["cells"]])
            for one in found.rows:
                half = one.error.half if one.error else 0.0
                measure = one.measure
                lines.writerow(
                    [one.stage, one.load, measure.quantity, measure.location, measure.value, half]
                )
    with file.open(newline="") as stream:
        (_, cells), *lines = csv.reader(stream)
    read = {tuple(line[:4]): (float(line[4]), float(line[5])) for line in lines}
    return read, float(cells) ** (-1 / 3)


def judged(
    case: Case, out: Path
) -> Iterator[tuple[str, Estimate, tuple[float, ...], tuple[float, ...], float]]:
    """Quantity, what three meshes say of a value, the three and their own bars, and the fourth."""
    found = {mesh: values(case, mesh, out) for mesh in MESHES}
    sizes = tuple(found[mesh][1] for mesh in ("fine", "default", "coarse"))
    for key, (fourth, _) in found["fourth"][0].items():
        three = [found[mesh][0].get(key) for mesh in ("fine", "default", "coarse")]
        if all(one is not None for one in three):
            seen = tuple(one[0] for one in three if one is not None)
            own = tuple(one[1] for one in three if one is not None)
            yield key[2], estimate(seen, sizes), seen, own, fourth


def main() -> None:
    """Run what is not done and print the table."""
    use_threads(2)
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("constructs", nargs="+")
    parser.add_argument("--out", type=Path, default=Path("results/index"))
    asked = parser.parse_args()
    cases = {case.name: case for case in plan(load_study(STUDY)).cases}
    held: dict[tuple[str, str], list[tuple[bool, ...]]] = defaultdict(list)
    for name in asked.constructs:
        for quantity, said, three, own, fourth in judged(cases[name], asked.out):
            if said.verdict in ("exact", "singular") or not all(three) or fourth == three[0]:
                continue
            bars = tuple(
                100 * half / abs(value) if isfinite(half) else None
                for half, value in zip(own, three, strict=True)
            )
            floored = [at_least(*one) for one in zip(said.errors, bars, strict=True)]
            fits = tuple(
                abs(fourth - value) <= share * abs(value)
                for shares in (said.errors, floored)
                for share, value in zip(shares, three, strict=True)
            )
            for group in ((name, quantity), (name, said.verdict), (name, "all")):
                held[group].append(fits)
    print("| construct | results | values | index alone: fine | default | coarse "
          "| as written: fine | default | coarse |\n|" + "---|" * 9)  # fmt: skip
    for (name, group), fits in sorted(held.items()):
        shares = " | ".join(f"{100 * share:.1f} %" for share in np.mean(fits, axis=0))
        print(f"| {name} | {group} | {len(fits)} | {shares} |")


if __name__ == "__main__":
    main()
