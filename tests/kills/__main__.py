"""Kill small runs at random moments, run each again, and write a row for each kill.

``python -m tests.kills --count 50 --seed 1 --out results/kills``

Two studies take turns (`asked.toml`, `design.toml`). The whole process group is killed, workers too, at
a moment drawn from an undisturbed run's time; the same command then runs again in the same folder, and
is sometimes killed again before it may end. Its tables must be those of the undisturbed run, byte for
byte. The exit code is 1 if any is not. ``--resume`` keeps the rows of an earlier call.
"""

from __future__ import annotations

import argparse
import csv
import os
import shutil
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from pipeline.storage.casebook import CASES
from pipeline.storage.files import read_table
from tests.kills.commands import ROOT, arguments, different, leftovers

COLUMNS = ("number", "study", "kills", "moments", "doing", "equal", "reason", "seconds")
STUDIES = {"asked": "tests.kills.quick", "design": "pipeline"}
"""Which program runs each: one that is short enough needs no coarser model."""
AGAIN = 0.35  # of all kills are followed by another one
EARLIEST = 0.02  # of an undisturbed run's time
PATIENCE_S = 900
AFTER = {"cases.csv": "tables of results", "live.json": "what is asked besides", "figures": "pages"}
"""What comes after a file is there."""


@dataclass(frozen=True)
class Undisturbed:
    """A run that nobody killed."""

    study: Path
    out: Path
    seconds: float

    @classmethod
    def of(cls, name: str, folder: Path) -> Undisturbed:
        """Run a study to its end in a folder."""
        study, out = ROOT / "tests" / "kills" / f"{name}.toml", folder / f"undisturbed-{name}"
        shutil.rmtree(out, ignore_errors=True)
        began = time.monotonic()
        said = ended(study, out, folder)
        if said:
            raise RuntimeError(f"{name}: the undisturbed run failed: {said}")
        return cls(study, out, time.monotonic() - began)


def started(study: Path, out: Path, spare: Path) -> subprocess.Popen[str]:
    """The command, under way in a process group of its own."""
    return subprocess.Popen(
        arguments(study, out, program=STUDIES[study.stem]),
        cwd=ROOT, text=True, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, start_new_session=True,
        env={**os.environ, "TMPDIR": str(spare)},
    )  # fmt: skip


def ended(study: Path, out: Path, spare: Path) -> str:
    """Let the command run to its end; what is wrong with that, if anything."""
    process = started(study, out, spare)
    try:
        said, _ = process.communicate(timeout=PATIENCE_S)
    except subprocess.TimeoutExpired:
        os.killpg(process.pid, signal.SIGKILL)
        return f"it did not end in {PATIENCE_S} s"
    last = said.strip().splitlines()[-1:]
    return f"exit code {process.returncode}: {''.join(last)}" if process.returncode else ""


def killed(run: Undisturbed, out: Path, moment: float) -> str | None:
    """Kill the command so many seconds after its start; what it was doing, None if it ended before."""
    began = time.time()
    process = started(run.study, out, out.parent)
    try:
        process.communicate(timeout=moment)
    except subprocess.TimeoutExpired:
        os.killpg(process.pid, signal.SIGKILL)
        process.communicate()
        return doing(out, began)
    return None


def doing(out: Path, began: float) -> str:
    """What a run that began then was doing when it was killed, from what it has written since."""
    if not (out / ".lock").exists():
        return "beginning"
    new = {path for path in out.rglob("*") if path.lstat().st_mtime >= began}
    finished = len(list((out / CASES).glob("[0-9a-f]*")))
    step = f"cases, {finished} finished"
    for name, after in AFTER.items():
        step = after if out / name in new else step
    last = max(
        (path for path in new if path.is_file()), key=lambda path: path.stat().st_mtime, default=out
    )
    return f"{step}; last {last.relative_to(out)}"


def tried(number: int, seed: int, run: Undisturbed, folder: Path) -> dict[str, object]:
    """Kill a run once or more, let it end, and compare."""
    random = np.random.default_rng((seed, number))
    out = folder / f"killed-{number}"
    shutil.rmtree(out, ignore_errors=True)
    began, moments, done = time.monotonic(), [], []
    share = random.uniform(EARLIEST, 1.0)
    while True:
        found = killed(run, out, share * run.seconds)
        if found is not None:
            moments.append(f"{share * run.seconds:.1f}")
            done.append(found)
            if random.uniform() > AGAIN:
                break
        elif done:  # less was left than in an undisturbed run
            break
        share *= random.uniform(0.3, 0.9)
    reason = ended(run.study, out, folder)
    reason = reason or ", ".join([*different(out, run.out), *leftovers(out)])
    if not reason:
        shutil.rmtree(out)
    return {
        "number": number, "study": run.study.stem, "kills": len(done), "moments": "; ".join(moments),
        "doing": " | ".join(done), "equal": "no" if reason else "yes", "reason": reason,
        "seconds": round(time.monotonic() - began, 1),
    }  # fmt: skip


def rows(asked: argparse.Namespace, there: set[str]) -> Iterator[dict[str, object]]:
    """A row for each kill that has none yet."""
    runs: dict[str, Undisturbed] = {}
    for number in range(asked.count):
        name = [*STUDIES][number % len(STUDIES)]
        if str(number) in there:
            continue
        if name not in runs:
            runs[name] = Undisturbed.of(name, asked.out)
            print(f"{name}: {runs[name].seconds:.1f} s undisturbed", flush=True)
        yield tried(number, asked.seed, runs[name], asked.out)


def main() -> None:
    """Kill runs."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--count", type=int, default=50)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--out", type=Path, default=Path("results/kills"))
    parser.add_argument("--resume", action="store_true")
    asked = parser.parse_args()
    asked.out = asked.out.resolve()
    asked.out.mkdir(parents=True, exist_ok=True)
    path = asked.out / "kills.csv"
    goes_on = asked.resume and path.exists()
    known = [*read_table(path)] if goes_on else []
    with path.open("a" if goes_on else "w", newline="") as file:
        table = csv.DictWriter(file, COLUMNS)
        if not goes_on:
            table.writeheader()
        for row in rows(asked, {row["number"] for row in known}):
            table.writerow(row)
            file.flush()
            print(*row.values(), sep="  ", flush=True)
    found = [*read_table(path)]
    kills, equal = sum(int(row["kills"]) for row in found), sum(row["equal"] == "yes" for row in found)
    print(f"{len(found)} runs killed {kills} times, tables of {equal} equal")
    sys.exit(equal < len(found))


if __name__ == "__main__":
    main()
