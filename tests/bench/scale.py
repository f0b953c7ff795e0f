"""``python -m tests.bench.scale --cases 5000``: seconds and memory of all that reads a large run.

A folder of so many cases is made up, some 400 rows each, nothing is meshed. Each step then runs in a
process of its own. ``--constructs 200`` makes one variant with so many constructs in place of a design;
``--stubs 10000 --workers 8`` sends so many jobs that do nothing through the engine.
"""

from __future__ import annotations

import argparse
import json
import random
import resource
import shutil
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import gapstrain

from pipeline.measures.columns import ESTIMATED
from pipeline.measures.dictionary import QUANTITIES
from pipeline.output.credibility import credibility_page
from pipeline.output.exports import Print, export
from pipeline.output.report.page import report_page
from pipeline.output.tables import short_table
from pipeline.run.case import Case
from pipeline.run.collect import related, rows_of, write_tables
from pipeline.run.engine import Job, Place, pool, results
from pipeline.run.execute import Asked, write_inputs
from pipeline.run.jobs import Outcome
from pipeline.run.planning import Plan, Planned, cases
from pipeline.sharing.compare import agree, compare
from pipeline.study.config import load_study
from pipeline.sweeps.variants import variants_of
from tests.made import Row, write_case
from tests.output.report.large import DESIGN

STUDY = """
schema_version = 1
title = "A large study that nobody computed"
mesh = { level = "coarse" }
question = { quantity = "gap_shear_movement" }
stages = [
    { name = "fresh", modulus_mpa = 0.3, poisson_ratio = 0.17 },
    { name = "atrophic", modulus_mpa = 1.0, poisson_ratio = 0.17 },
    { name = "woven" },
]
loads = [
    { kind = "hip_force", name = "hip", force_n = 1000.0 },
    { kind = "hip_force", name = "hip-more", force_n = 2000.0 },
    { kind = "hip_force", name = "axial", force_n = 500.0 },
    { kind = "torsion", name = "torsion", moment_nm = 10.0 },
    { kind = "bending", name = "bending", moment_nm = 10.0, plane = "frontal" },
]
"""
CONSTRUCT = """
[[constructs]]
kind = "nail"
name = "nail-{number}"
nail = {{ diameter_mm = {diameter:.4f} }}
"""
AT = {
    **dict.fromkeys(
        ("gap_axial_movement", "gap_shear_movement", "interfragmentary_strain", "gap_movement"),
        ("near", "far", "centre"),
    ),
    "tissue_strain_octahedral": ("p5", "p50", "p95", "p99"),
    **dict.fromkeys(
        ("von_mises_5mm3", "yield_factor", "nominal_stress"),
        ("nail", "bolt_1", "bolt_2", "bolt_3", "bolt_4"),
    ),
    **dict.fromkeys(
        ("section_axial_force", "section_bending_moment"), ("gap", "bolt_1", "bolt_2", "bolt_3")
    ),
    "strain_band": ("classical/under_2", "classical/2_to_10"),
}
"""What is made up of each stage and load; of a whole femur only what its sections have."""
STIFFNESS = {
    "axial": "axial_stiffness",
    "torsion": "torsional_stiffness",
    "bending": "bending_stiffness",
}
FAILS, FLAGGED = 17, 9  # one case in so many fails, one row carries a doubt
DOUBT = "the nail would touch the canal by 0.31 mm, which the model does not know"
OUT, FILE = "out", "large.toml"


def study_text(count: int, constructs: int) -> str:
    """A study with so many cases by a design of two constructs, or with so many constructs."""
    if not constructs:
        return STUDY + DESIGN.format(points=max(1, round(count / 3)))  # and an intact femur each
    each = (CONSTRUCT.format(number=n, diameter=9.0 + 2.0 * n / constructs) for n in range(constructs))
    return STUDY + "".join(each)


def planned_in(folder: Path) -> Plan:
    """The plan of the study in a folder; nothing is assembled, since that takes long."""
    study = load_study(folder / FILE)
    variants = variants_of(study)
    listed = (case for one in variants if one.study for case in cases(one.study, one.name))
    items = (Planned(case, {}, "", {}, {}, frozenset()) for case in listed)
    return Plan(study, variants, tuple(items))


def ended(planned: Plan) -> list[Outcome]:
    """How the cases of a plan ended, the same each time."""
    failure = "the mesh of part bolt_2 has cells turned over"
    return [
        Outcome(case, failure if number % FAILS == FAILS - 1 else "", 61.7)
        for number, case in enumerate(planned.cases)
    ]


def make(folder: Path, count: int, constructs: int) -> None:
    """Write a study file, and a folder for each of its cases."""
    out, chance = folder / OUT, random.Random(11)
    out.mkdir(parents=True)
    (folder / FILE).write_text(study_text(count, constructs), encoding="utf-8")
    planned = planned_in(folder)
    write_inputs(planned, Asked((folder / FILE).read_text(encoding="utf-8")), out)
    for outcome in ended(planned):
        if not outcome.failure:
            own = outcome.case.own_defect
            record = {"kind": outcome.case.construct.kind, "site": own.site, "gap_mm": own.gap_mm}
            write_case(out, outcome.case.address, made_rows(outcome.case, chance), **record)


def made_rows(case: Case, chance: random.Random) -> Iterator[Row]:
    """Rows of a case that nobody solved."""
    stages = [stage.name for stage in case.stages] if case.has_tissue else ["intact"]
    balances = dict.fromkeys(
        ("force_residual", "moment_residual", "energy_residual", "volume_error"), 2.3e-11
    )
    for stage in stages:
        for load in case.loads:
            stiff = STIFFNESS.get(load.name)
            own = {name: at for name, at in AT.items() if case.has_tissue or "section" in name}
            own |= {stiff: ("sections",)} if stiff else {}
            for quantity, place in ((name, one) for name, at in own.items() for one in at):
                yield {
                    "stage": stage, "load": load.name, "quantity": quantity, "location": place,
                    "value": chance.uniform(0.1, 900.0), "unit": QUANTITIES[quantity].unit,
                    "error": round(chance.uniform(0.5, 9.0), 2), "mesh": ESTIMATED, "status": "ok",
                    "flags": "" if chance.randrange(FLAGGED) else DOUBT, **balances,
                }  # fmt: skip


def _collect(folder: Path, planned: Plan) -> None:
    outcomes, out = ended(planned), folder / OUT
    write_tables(planned, outcomes, related(rows_of(outcomes, out), planned.cases), out)


def _short(folder: Path, planned: Plan) -> None:
    assert short_table(folder / OUT, *planned.study.shown).lines


def _credibility(folder: Path, planned: Plan) -> None:
    credibility_page(planned.study, folder / OUT, "gapstrain, measured.", "Numbers are made up.")


def _report(folder: Path, planned: Plan) -> None:
    report_page(planned.study, folder / OUT, "gapstrain, measured.", "Numbers are made up.")


def _compare(folder: Path, _: Plan) -> None:
    assert agree(compare(folder / OUT, folder / OUT))


def _export(folder: Path, planned: Plan) -> None:
    export(folder / OUT, folder / "export", planned.study, Print(("png",)))


def _table(folder: Path, _: Plan) -> None:
    assert len(gapstrain.open(folder / OUT).table())


def _pivot(folder: Path, _: Plan) -> None:
    run = gapstrain.open(folder / OUT)
    assert len(run.pivot("axial_stiffness", location="sections", load="axial"))


STEPS: dict[str, Callable[[Path, Plan], None]] = {
    "collect": _collect, "short table": _short, "credibility": _credibility, "report": _report,
    "compare": _compare, "export": _export, "notebook table": _table, "notebook pivot": _pivot,
}  # fmt: skip


def step(name: str, folder: Path) -> None:
    """One step in this process: print its seconds, those of work, and the most memory it held, MB."""
    planned = planned_in(folder)
    before, worked = time.perf_counter(), time.process_time()
    STEPS[name](folder, planned)
    seconds, work = time.perf_counter() - before, time.process_time() - worked
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(json.dumps({"seconds": seconds, "work": work, "megabytes": peak}))


def measured(name: str, folder: Path) -> str:
    """What a step took in a process of its own, as a line."""
    command = [sys.executable, "-m", "tests.bench.scale", "--step", name, "--folder", str(folder)]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    if done.returncode:
        last = (done.stderr.strip().splitlines() or [f"ended with {done.returncode}"])[-1]
        return f"{name:15s} {last}"
    told = json.loads(done.stdout.splitlines()[-1])
    taken = f"{told['seconds']:7.1f} s, {told['work']:7.1f} s of work"
    return f"{name:15s} {taken}, {told['megabytes']:5.0f} MB"


def stub(number: int) -> int:
    return number


def engine(count: int, workers: int) -> str:
    """What the engine takes for jobs that do nothing, as a line."""
    place = Place(workers=workers, threads=1)
    started = time.perf_counter()
    with pool(place) as client:
        there = time.perf_counter()
        jobs = (Job(f"stub-{k}", stub, (k,)) for k in range(count))
        done = sum(1 for _ in results(client, place, jobs))
        seconds = time.perf_counter() - there
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    assert done == count
    return (
        f"{count} jobs on {workers} workers: {there - started:.1f} s to start them, {seconds:.1f} s, "
        f"{1000 * seconds / count:.2f} ms a job; scheduler and client hold {peak:.0f} MB"
    )


def main() -> None:
    """Print a line for each step."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--cases", type=int, default=500)
    parser.add_argument("--constructs", type=int, default=0)
    parser.add_argument("--stubs", type=int, default=0)
    parser.add_argument("--workers", type=int, default=8)
    parser.add_argument("--only", choices=STEPS, action="append", default=[])
    parser.add_argument("--step", choices=STEPS)
    parser.add_argument("--folder", type=Path)
    asked = parser.parse_args()
    if asked.step:
        step(asked.step, asked.folder)
        return
    if asked.stubs:
        print(engine(asked.stubs, asked.workers))
        return
    with tempfile.TemporaryDirectory() as spare:
        folder = asked.folder or Path(spare) / "large"
        if not folder.exists():
            make(folder, asked.cases, asked.constructs)
        shutil.rmtree(folder / "export", ignore_errors=True)
        for name in asked.only or STEPS:
            print(measured(name, folder), flush=True)
        sizes = {path.name: path.stat().st_size / 1e6 for path in (folder / OUT).glob("*.*")}
        large = sorted(sizes.items(), key=lambda pair: -pair[1])[:5]
        print("files, MB: " + ", ".join(f"{name} {size:.1f}" for name, size in large))


if __name__ == "__main__":
    main()
