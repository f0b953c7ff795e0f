"""Mesh random valid constructs at the coarse level and write a row for each.

``python -m tests.campaign --count 300 --seed 1 --out results/campaign.csv``

A drawn study counts as valid when it passes the same reading and lint as a study file. A failure is a
row with its reason; the exit code is 1 below 99 percent.
"""

from __future__ import annotations

import argparse
import csv
import json
import sys
import time
from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor, as_completed
from multiprocessing import get_context
from pathlib import Path
from typing import Any

import numpy as np

from geometries.assembly import assemble
from geometries.errors import StudyError
from pipeline.case import Case, cases
from pipeline.config import parse_study
from pipeline.fem.mesher import build_mesh
from tests.campaign.draws import Values, kind_of_construct, study

COLUMNS = ("number", "kind", "status", "reason", "seconds", "unknowns", "worst_volume", "study")
LEAST = 0.99


def valid(count: int, seed: int) -> Iterator[tuple[int, Values]]:
    """Drawn studies that pass the lint, with the number of their draw."""
    random, number = np.random.default_rng(seed), 0
    for _ in range(count):
        kind = kind_of_construct(random)
        while True:
            number += 1
            drawn = study(random, kind)
            try:
                case = case_of(drawn)
                assemble(case.construct, case.femur, case.defect)
            except StudyError:
                continue
            yield number, drawn
            break


def case_of(drawn: Values) -> Case:
    """The construct of a drawn study as a case."""
    return cases(parse_study(drawn, "drawn"))[-1]


def mesh(number: int, drawn: Values) -> dict[str, Any]:
    """Mesh one and say how it went."""
    case, started = case_of(drawn), time.perf_counter()
    row = {"number": number, "kind": case.construct.kind, "status": "ok", "study": json.dumps(drawn)}
    try:
        made = build_mesh(assemble(case.construct, case.femur, case.defect), "coarse")
        row |= {"unknowns": made.unknowns, "worst_volume": f"{made.worst_volume[1]:.1e}"}
    except StudyError as error:
        row |= {"status": "failed", "reason": str(error)}
    return row | {"seconds": f"{time.perf_counter() - started:.1f}"}


def main() -> None:
    """Run the campaign."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--count", type=int, default=300)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--workers", type=int, default=2)
    parser.add_argument("--out", type=Path, default=Path("results/campaign.csv"))
    asked = parser.parse_args()
    rows = []
    with (
        asked.out.open("w", newline="") as file,
        ProcessPoolExecutor(asked.workers, mp_context=get_context("spawn")) as pool,
    ):
        table = csv.DictWriter(file, COLUMNS)
        table.writeheader()
        waiting = [pool.submit(mesh, *one) for one in valid(asked.count, asked.seed)]
        for done in as_completed(waiting):
            row = done.result()
            rows.append(row)
            table.writerow(row)
            file.flush()
            print(len(rows), *(row.get(key, "") for key in COLUMNS[:-1]), flush=True)
    report(rows)
    sound = sum(row["status"] == "ok" for row in rows)
    sys.exit(sound < LEAST * len(rows))


def report(rows: list[dict[str, Any]]) -> None:
    """A line for each kind of construct."""
    print(f"{'kind':14s} {'meshed':>7s} {'of':>4s} {'median s':>9s} {'median unknowns':>16s}")
    for kind in [*sorted({row["kind"] for row in rows}), "all"]:
        own = [row for row in rows if kind in (row["kind"], "all")]
        sound = [row for row in own if row["status"] == "ok"]
        seconds = np.median([float(row["seconds"]) for row in own])
        unknowns = np.median([row["unknowns"] for row in sound]) if sound else 0
        print(f"{kind:14s} {len(sound):7d} {len(own):4d} {seconds:9.1f} {unknowns:16.0f}")


if __name__ == "__main__":
    main()
