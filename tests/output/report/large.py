"""A finished run of a large design that nobody computed, written by what writes the tables of a run."""

from __future__ import annotations

import random
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

from pipeline.measures.dictionary import QUANTITIES
from pipeline.output.indices import draw_indices
from pipeline.run.case import Case
from pipeline.run.collect import related, rows_of, write_tables
from pipeline.run.execute import Asked, write_inputs
from pipeline.run.jobs import Outcome
from pipeline.run.planning import Plan, Planned, cases
from pipeline.study.config import StudyConfig, load_study
from pipeline.sweeps.variants import variants_of
from pipeline.tables import rows as tables
from tests.made import Row, write_case

STUDY = """
schema_version = 1
title = "A large sweep that nobody computed"
mesh = { level = "coarse" }
question = { quantity = "gap_shear_movement" }
stages = [{ name = "atrophic", modulus_mpa = 1.0, poisson_ratio = 0.167 }, { name = "woven" }]

[[loads]]
kind = "hip_force"
name = "axial"
force_n = 1000.0

[[loads]]
kind = "torsion"
name = "torsion"
moment_nm = 10.0

"""
DESIGN = """
[[constructs]]
kind = "nail"
name = "nail"
nail = {{ diameter_mm = 10.0, reaming_mm = 1.0 }}

[[constructs]]
kind = "nail_plate"
name = "over-nail"
nail = {{ diameter_mm = 10.0 }}

[design]
kind = "latin_hypercube"
samples = {points}
seed = 7
outcomes = ["gap_shear_movement", "axial_stiffness"]
factors = [
    {{ key = "constructs.nail.nail.diameter_mm", label = "nail diameter", low = 9.0, high = 11.0 }},
    {{ key = "constructs.nail.nail.reaming_mm", label = "reaming", low = 0.5, high = 2.0 }},
    {{ key = "stages.atrophic.modulus_mpa", label = "tissue modulus", low = 0.2, high = 5.0 }},
]
"""
MEASURED = (  # of each stage and load; implants only where there are any
    *((name, at) for name in ("gap_axial_movement", "gap_shear_movement", "interfragmentary_strain")
      for at in ("near", "far", "centre")),
    *(("tissue_strain_octahedral", at) for at in ("p5", "p50", "p95", "p99")),
    *(("von_mises_5mm3", at) for at in ("nail", "bolt_1", "bolt_2", "bolt_3", "bolt_4")),
    *(("yield_factor", at) for at in ("nail", "bolt_1", "bolt_2", "bolt_3", "bolt_4")),
    *(("section_axial_force", at) for at in ("gap", "bolt_1", "bolt_2", "bolt_3", "bolt_4")),
    ("strain_band", "classical/under_2"), ("strain_band", "classical/2_to_10"),
)  # fmt: skip
STIFFNESS = {"axial": "axial_stiffness", "torsion": "torsional_stiffness"}
IMPLANTS = ("von_mises_5mm3", "yield_factor")
FAILS, FLAGGED = 17, 9  # one case in so many fails, one row carries a doubt
DOUBT = "the nail would touch the canal by 0.31 mm, which the model does not know"


def write_large(folder: Path, points: int = 250) -> tuple[StudyConfig, Path]:
    """Write the folder of a design of two constructs, with the intact femur that a run adds.

    Parameters
    ----------
    folder : Path
        Where to put study file and results.
    points : int
        Points of the design.

    Returns
    -------
    (StudyConfig, Path)
        The study and the folder of its results.
    """
    chance = random.Random(11)
    file, out = folder / "large.toml", folder / "out"
    out.mkdir(parents=True)
    file.write_text(STUDY + DESIGN.format(points=points), encoding="utf-8")
    study = load_study(file)
    variants = variants_of(study)
    listed = [case for one in variants if one.study for case in cases(one.study, one.name)]
    items = (Planned(case, {}, "", {}, {}, frozenset()) for case in listed)  # assembling is slow
    planned = Plan(study, variants, tuple(items))
    write_inputs(planned, Asked(file.read_text(encoding="utf-8"), (), 3, 2), out)
    outcomes = [_ended(number, case, out, chance) for number, case in enumerate(listed)]
    rows = [_with_error(row, chance) for row in rows_of(outcomes, out)]
    write_tables(planned, outcomes, related(rows, listed), out)
    draw_indices(out, *study.shown)
    return study, out


def _ended(number: int, case: Case, out: Path, chance: random.Random) -> Outcome:
    if number % FAILS == FAILS - 1:
        return Outcome(
            case, f"construct {case.name!r}: the mesh of part bolt_2 has cells turned over", 3.1
        )
    own = case.own_defect
    record = {"kind": case.construct.kind, "site": own.site, "gap_mm": own.gap_mm}
    write_case(out, case.address, _rows(case, chance), **record)
    return Outcome(case, "", 61.7)


def _rows(case: Case, chance: random.Random) -> Iterator[Row]:
    stages = [stage.name for stage in case.stages] if case.has_tissue else ["intact"]
    for stage in stages:
        for load in case.loads:
            own = [
                (quantity, at) for quantity, at in MEASURED if case.has_tissue or "section" in quantity
            ]
            for quantity, at in [(STIFFNESS[load.name], "sections"), *own]:
                yield {
                    "stage": stage, "load": load.name, "quantity": quantity, "location": at,
                    "value": chance.uniform(0.1, 900.0), "unit": QUANTITIES[quantity].unit,
                    "status": "ok",
                    **{name: chance.uniform(1e-13, 1e-9) for name in tables.CHECKS},
                    "flags": "" if chance.randrange(FLAGGED) else DOUBT,
                }  # fmt: skip


def _with_error(row: tables.Row, chance: random.Random) -> tables.Row:
    if not row.is_ok:
        return row
    error = float(f"{chance.uniform(0.5, 9.0):.3g}")
    return replace(row, error=error, mesh="of its class")
