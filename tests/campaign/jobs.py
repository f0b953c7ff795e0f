"""Drawing valid studies, meshing one of them, settling contact in it: what a worker runs."""

from __future__ import annotations

import json
import time
from collections.abc import Iterator
from typing import Any

from geometries.assembly import assemble
from geometries.errors import StudyError
from pipeline.errors import SolveError
from pipeline.fem.kernels.threads import use_threads
from pipeline.fem.mesh import Mesh
from pipeline.fem.meshing.mesher import build_mesh
from pipeline.measures.quality import Balances
from pipeline.run.case import Case
from pipeline.run.clock import Clock
from pipeline.run.equilibrium import Prepared, equilibria
from pipeline.run.planning import cases
from pipeline.study.config import parse_study
from tests.draws import Values
from tests.studies import seeded, study

SHARES = {  # the commoner ones more often
    "nail": 0.30, "exchange_nail": 0.10, "plate": 0.26, "nail_plate": 0.13, "two_plates": 0.05,
    "stem_plate": 0.12, "intact": 0.02, "specimen": 0.02,
}  # fmt: skip


def valid(count: int, seed: int, contact: bool = False) -> Iterator[tuple[int, Values]]:
    """Drawn studies that pass the lint, with contact as well where that is asked for; their numbers."""
    chance, number = seeded(seed), 0
    for _ in range(count):
        kind = str(chance.random.choice([*SHARES], p=[*SHARES.values()]))
        while True:
            number += 1
            drawn = study(chance, kind)
            try:
                for one in (drawn, touching(number, drawn))[: 1 + contact]:
                    case = case_of(one)
                    assemble(case.construct, case.femur, case.defect)
            except StudyError:
                continue
            yield number, drawn
            break


def case_of(drawn: Values) -> Case:
    """The construct of a drawn study as a case."""
    return cases(parse_study(drawn, "drawn"))[-1]


LOADS: list[Values] = [
    {"kind": "hip_force", "name": "hip", "force_n": 1000.0, "adduction_deg": 6.0},
    {"kind": "torsion", "name": "torsion", "moment_nm": 10.0},
    {"kind": "bending", "name": "bending", "plane": "sagittal", "moment_nm": 10.0},
]
UNHELD = ("no stop and no tissue holds it", "before a stop or tissue holds it")


def touching(number: int, drawn: Values) -> Values:
    """The same study with contact wherever there can be any, over an empty or a soft gap."""
    construct = dict(drawn["constructs"][0])
    gap = {**(construct.pop("defect", None) or drawn["defect"]), "bone_ends": "contact"}
    if "nail" in construct:
        nail = construct["nail"]
        play = {**nail.get("bolts", {}), "fit": "play", "along": ("slides", "held")[number % 3 == 0]}
        construct["nail"] = {**nail, "canal": "contact", "bolts": play}
    for key in ("plate", "second"):
        if key in construct:
            construct[key] = {**construct[key], "on_bone": "offset"}
    stage = ("empty", "atrophic")[number % 2]
    return {
        **drawn, "defect": gap, "loads": LOADS, "stages": [{"name": stage}], "constructs": [construct],
        "mesh": {"level": "coarse"},
    }  # fmt: skip


def facts(made: Mesh) -> dict[str, Any]:
    """What a row says of a mesh."""
    worst = f"{made.worst_volume[1]:.1e}"
    return {"unknowns": made.unknowns, "worst_volume": worst, "recipe": made.recipe}


def settle(number: int, drawn: Values) -> dict[str, Any]:
    """Settle contact under three loads; a load that nothing holds must be named, none may overlap."""
    use_threads(1)  # each worker has a core
    started = time.perf_counter()
    row: dict[str, Any] = {"number": number, "study": json.dumps(drawn), "status": "ok"}
    try:
        case = case_of(touching(number, drawn))
        row["kind"] = case.construct.kind
        geometry = case.geometry()
        made = build_mesh(geometry, "coarse")
        row |= facts(made)
        for _, found in equilibria(Prepared.of(made, geometry, case), case, Clock()):
            if isinstance(found, SolveError):
                raise found
            others = [one for one in found.failures.values() if not any(how in one for how in UNHELD)]
            balances = Balances.of(
                made, found.basis, found.touching.units, found.elasticity, geometry.top
            )
            faults = [
                balances.under(found.loads[load], found.basis.shares[load]).fault()
                for load in found.states
            ]
            allowed = found.touching.stops.allowed
            over = max((float((s.overlap - allowed).max(initial=-1)) for s in found.states.values()),
                       default=-1.0)  # fmt: skip
            row |= {
                "held": len(found.states),
                "stops": len(found.touching.chosen),
                "over_mm": f"{over:.1e}",
            }
            wrong = [*others, *filter(None, faults), *(["overlap"] if over > 0 else [])]
            if wrong:
                row |= {"status": "failed", "reason": "; ".join(wrong)}
    except StudyError as error:
        row |= {"status": "failed", "reason": str(error)}
    return row | {"seconds": f"{time.perf_counter() - started:.1f}"}


def mesh(number: int, drawn: Values) -> dict[str, Any]:
    """Mesh one and say how it went."""
    case, started = case_of(drawn), time.perf_counter()
    row = {"number": number, "kind": case.construct.kind, "status": "ok", "study": json.dumps(drawn)}
    try:
        made = build_mesh(assemble(case.construct, case.femur, case.defect), "coarse")
        row |= facts(made)
    except StudyError as error:
        row |= {"status": "failed", "reason": str(error)}
    return row | {"seconds": f"{time.perf_counter() - started:.1f}"}
