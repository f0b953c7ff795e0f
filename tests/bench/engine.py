"""``python -m tests.bench.engine``: what the engine costs, and what a second worker is worth.

It wants two free cores, and takes some minutes.
"""

from __future__ import annotations

import tempfile
import time
import tomllib
from pathlib import Path

from pipeline.run.engine import Job, Place, pool, results
from pipeline.run.execute import Options, execute
from pipeline.run.planning import plan
from pipeline.study.config import parse_study

STUBS, CASES = 1000, 24
DEMO = Path(__file__).parents[2] / "configs" / "demo.toml"


def stub(number: int) -> int:
    return number


def overhead() -> float:
    """Milliseconds for each of a thousand cases that do nothing, workers being there."""
    place = Place(workers=2)
    with pool(place) as client:
        jobs = [Job(f"stub-{k}", stub, (k,)) for k in range(STUBS)]
        started = time.perf_counter()
        done = sum(1 for _ in results(client, place, jobs))
        seconds = time.perf_counter() - started
    assert done == STUBS
    return 1000 * seconds / STUBS


def seconds_of(workers: int) -> float:
    """Seconds of a sweep of intact femurs of many diameters, one thread for each worker."""
    study = tomllib.loads(DEMO.read_text(encoding="utf-8"))
    study["stages"], study["constructs"] = study["stages"][:1], study["constructs"][:1]
    diameters = [24.0 + 8.0 * k / CASES for k in range(CASES)]
    factor = {"key": "femur.shaft_diameter_mm", "values": diameters}
    study["femur"] = {"shaft_diameter_mm": 28.0}
    study["design"] = {"kind": "grid", "factors": [factor]}
    with tempfile.TemporaryDirectory() as out:
        started = time.perf_counter()
        options = Options(Place(workers=workers, threads=1), keep="none", pages=False)
        ended = execute(plan(parse_study(study, "bench")), Path(out), options).outcomes
    assert len(ended) == CASES
    assert not [one.failure for one in ended if one.failure]
    return time.perf_counter() - started


def main() -> None:
    """Print both figures."""
    print(f"overhead of the engine: {overhead():.2f} ms a case (asked: under 5)", flush=True)
    one, two = seconds_of(1), seconds_of(2)
    print(f"{CASES} cases: 1 worker {one:.0f} s, 2 workers {two:.0f} s")
    print(f"a second worker: {one / two:.2f} times as fast (asked: 1.8)")


if __name__ == "__main__":
    main()
