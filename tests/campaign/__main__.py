"""Mesh random valid constructs at the coarse level and write a row for each.

``python -m tests.campaign --count 300 --seed 1 --out results/campaign.csv``

With ``--contact`` each is also put into equilibrium under three loads with contact wherever there can
be any; it fails where surfaces overlap, something is out of balance, or no state is found.

A drawn study counts as valid when it passes the same reading and lint as a study file. A failure is a
row with its reason; the exit code is 1 below 99 percent. ``--resume`` keeps the rows that the file has
of an earlier call, for which the code that meshes must be the same.
"""

from __future__ import annotations

import argparse
import csv
import json
import sys
import threading
from collections.abc import Callable
from concurrent.futures import ProcessPoolExecutor, ThreadPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from multiprocessing import get_context
from pathlib import Path
from typing import Any

import numpy as np

from pipeline.storage.files import read_table
from tests.campaign.jobs import mesh, settle, valid
from tests.draws import Values

COLUMNS = (
    "number", "kind", "status", "reason", "seconds", "unknowns", "worst_volume", "recipe",
    "held", "stops", "over_mm", "study",
)  # fmt: skip
LEAST = 0.99


LANE = threading.local()
Job = Callable[[int, Values], dict[str, Any]]


def isolated(job: Job, number: int, drawn: Values) -> dict[str, Any]:
    """Mesh one in this lane's own process, so that a crash of the kernel is a row and no more."""
    if not hasattr(LANE, "process"):
        LANE.process = ProcessPoolExecutor(1, mp_context=get_context("spawn"))
    try:
        return LANE.process.submit(job, number, drawn).result()
    except BrokenProcessPool:
        del LANE.process
        kind = drawn["constructs"][0]["kind"]
        crash = {"status": "failed", "reason": "its process crashed", "seconds": "0"}
        return {"number": number, "kind": kind, "study": json.dumps(drawn), **crash}


def main() -> None:
    """Run the campaign."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--count", type=int, default=300)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--workers", type=int, default=2)
    parser.add_argument("--out", type=Path, default=Path("results/campaign.csv"))
    parser.add_argument("--resume", action="store_true")
    parser.add_argument("--contact", action="store_true", help="settle contact as well")
    asked = parser.parse_args()
    job = settle if asked.contact else mesh
    goes_on = asked.resume and asked.out.exists()
    rows: list[dict[str, Any]] = [*read_table(asked.out)] if goes_on else []
    there = {row["study"] for row in rows}
    drawn, lock = valid(asked.count, asked.seed, asked.contact), threading.Lock()
    with (
        asked.out.open("a" if goes_on else "w", newline="") as file,
        ThreadPoolExecutor(asked.workers) as lanes,
    ):
        table = csv.DictWriter(file, COLUMNS)
        if not goes_on:
            table.writeheader()

        def lane() -> None:
            while True:
                with lock:  # drawing is part of the work: the random stream is one
                    one = next((one for one in drawn if json.dumps(one[1]) not in there), None)
                if one is None:
                    return
                row = isolated(job, *one)
                with lock:
                    rows.append(row)
                    table.writerow(row)
                    file.flush()
                    print(len(rows), *(row.get(key, "") for key in COLUMNS[:-1]), flush=True)

        for ended in [lanes.submit(lane) for _ in range(asked.workers)]:
            ended.result()
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
        unknowns = np.median([float(row["unknowns"]) for row in sound]) if sound else 0
        print(f"{kind:14s} {len(sound):7d} {len(own):4d} {seconds:9.1f} {unknowns:16.0f}")


if __name__ == "__main__":
    main()
