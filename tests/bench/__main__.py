"""``make bench``: run every measurement, print the tables, write results/bench/*.csv."""

from __future__ import annotations

import csv
import json
import os
import subprocess
import sys
import tempfile
from functools import partial
from pathlib import Path

import numpy as np

from tests.bench.jobs import STAGES
from tests.bench.model import nail, nail_and_plate, plate, save, stem

FACTORS = {"S": 1.6, "M": 0.9, "L": 0.42, "XL": 0.255}
CONSTRUCT = "nail-and-plate"
OTHERS = {
    "nail-and-plate-coarse": lambda: nail_and_plate("coarse"),
    "nail-coarse": lambda: nail("coarse"),
    "slotted-nail-coarse": lambda: nail("coarse", slot_mm=3.0, slot_percent=75.0),
    "stem-coarse": lambda: stem("coarse"),
}
MODELS = {
    **{name: partial(plate, factor) for name, factor in FACTORS.items()},
    CONSTRUCT: lambda: nail_and_plate("default"), **OTHERS,
}  # fmt: skip
PEERS = ("pardiso", "ngsolve")
OUT = Path("results/bench")
Row = dict[str, object]


def measure(job: str, model: Path, threads: int) -> Row:
    done = subprocess.run(
        [sys.executable, "-m", "tests.bench.jobs", job, str(model), str(threads)],
        capture_output=True, text=True, check=False,
        env={**os.environ, "MKL_NUM_THREADS": str(threads), "OMP_NUM_THREADS": str(threads)},
    )  # fmt: skip
    row: Row = {"job": job, "model": model.stem, "threads": threads}
    if done.returncode:
        row["failed"] = (done.stderr.strip().splitlines() or ["killed"])[-1][:80]
    else:
        row |= json.loads(done.stdout.splitlines()[-1])
    print(" ".join(f"{key}={value:.4g}" if isinstance(value, float) else f"{key}={value}"
                   for key, value in row.items()), flush=True)  # fmt: skip
    return row


def number(row: Row, key: str) -> float:
    return float(str(row.get(key, "nan")))


def claims(rows: list[Row]) -> list[Row]:
    def find(job: str, model: str, threads: int) -> Row:
        key = (job, model, threads)
        return next((r for r in rows if (r["job"], r["model"], r["threads"]) == key), {})

    table: list[Row] = []

    def claim(text: str, own: float, peer: float, limit: float, at_least: bool = False) -> None:
        ratio = peer / own if at_least else own / peer
        holds = ratio >= limit if at_least else ratio <= limit
        table.append({"claim": text, "ours": own, "peer": peer, "ratio": ratio, "limit": limit,
                      "holds": holds})  # fmt: skip

    for model, threads in ((CONSTRUCT, 1), (CONSTRUCT, 2), ("XL", 2)):
        own = find("ours", model, threads)
        peers = [find(peer, model, threads) for peer in PEERS]
        fastest = min(peers, key=lambda row: float(str(row.get("seconds", "inf"))))
        name = f"{fastest.get('job')} on {model}, {threads} threads"
        claim(f"set-up and six loads against {name}: share of its seconds",
              number(own, "seconds"), number(fastest, "seconds"),
              0.55 if threads == 1 else 0.45)  # fmt: skip
        claim("the same: share of its peak memory",
              number(own, "peak_gb"), number(fastest, "peak_gb"), 0.5)  # fmt: skip
        if model == CONSTRUCT:
            claim(f"a further block of eight columns against {name}: share of its seconds",
                  number(find("blocks", model, threads), "seconds"),
                  number(fastest, "seconds"), 0.2)  # fmt: skip
    claim("assembly against scikit-fem's form: times faster",
          number(find("assembly", "L", 2), "seconds"),
          number(find("form_assembly", "L", 2), "seconds"), 10, at_least=True)  # fmt: skip
    sizes = [find("ours", model, 2) for model in FACTORS]
    iterations = np.array(
        [number(row, "iterations") for row in sizes]
        + [number(find("stages", model, 2), stage) for model in OTHERS for stage in STAGES]
    )
    claim("most iterations at any size, stage and construct", iterations.max(), 1.0, 30)
    spread = np.abs(iterations / iterations.mean() - 1).max()
    claim("spread of the iterations about their mean", spread, 1.0, 0.25)
    claim("a nail at the coarse level, three stages, s",
          number(find("stages", "nail-coarse", 2), "seconds"), 1.0, 10)  # fmt: skip
    logs = [np.log([number(row, key) for row in sizes]) for key in ("unknowns", "seconds")]
    claim("exponent of time over unknowns", float(np.polyfit(*logs, 1)[0]), 1.0, 1.1)
    claim("peak memory at the largest size, GB", number(sizes[-1], "peak_gb"), 1.0, 10)
    return table


def write(name: str, rows: list[Row]) -> None:
    columns = list(dict.fromkeys(key for row in rows for key in row))
    with (OUT / name).open("w", newline="", encoding="utf-8") as file:
        writer = csv.DictWriter(file, columns)
        writer.writeheader()
        writer.writerows(rows)


def main() -> None:
    OUT.mkdir(parents=True, exist_ok=True)
    rows = []
    with tempfile.TemporaryDirectory() as folder:
        paths = {name: Path(folder) / f"{name}.npz" for name in MODELS}
        for name, path in paths.items():
            save(MODELS[name](), path)
        rows += [measure("ours", path, 2) for path in paths.values()]
        rows += [measure("stages", paths[name], 2) for name in OTHERS]
        rows += [measure(job, paths["L"], 2) for job in ("assembly", "form_assembly")]
        rows.append(measure("bandwidth", paths[CONSTRUCT], 2))
        rows.append(measure("ours", paths[CONSTRUCT], 1))
        rows += [measure("blocks", paths[CONSTRUCT], threads) for threads in (2, 1)]
        rows += [measure(peer, paths[CONSTRUCT], threads) for peer in PEERS for threads in (2, 1)]
        rows.append(measure("pardiso", paths["XL"], 2))
    write("timings.csv", rows)
    table = claims(rows)
    write("claims.csv", table)
    for row in table:
        print(f"{'holds ' if row['holds'] else 'MISSED'} {row['claim']}: {row['ratio']:.3g} "
              f"(limit {row['limit']})")  # fmt: skip


if __name__ == "__main__":
    main()
