"""Drawing valid studies and meshing one of them: what a worker of the campaign runs."""

from __future__ import annotations

import json
import time
from collections.abc import Iterator
from typing import Any

from geometries.assembly import assemble
from geometries.errors import StudyError
from pipeline.fem.meshing.mesher import build_mesh
from pipeline.run.case import Case
from pipeline.run.planning import cases
from pipeline.study.config import parse_study
from tests.draws import Values
from tests.studies import seeded, study

SHARES = {  # the commoner ones more often
    "nail": 0.30, "exchange_nail": 0.10, "plate": 0.26, "nail_plate": 0.13, "two_plates": 0.05,
    "stem_plate": 0.12, "intact": 0.02, "specimen": 0.02,
}  # fmt: skip


def valid(count: int, seed: int) -> Iterator[tuple[int, Values]]:
    """Drawn studies that pass the lint, with the number of their draw."""
    chance, number = seeded(seed), 0
    for _ in range(count):
        kind = str(chance.random.choice([*SHARES], p=[*SHARES.values()]))
        while True:
            number += 1
            drawn = study(chance, kind)
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
