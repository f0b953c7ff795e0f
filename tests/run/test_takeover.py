"""Where tissue takes over, from shares over its modulus."""

from __future__ import annotations

import re
from dataclasses import replace

import pytest

from pipeline.fem.meshing.mesher import build_mesh
from pipeline.run.clock import Clock
from pipeline.run.equilibrium import Prepared
from pipeline.run.explored import Inquiry
from pipeline.run.reducing import reduced_twin
from pipeline.run.solving import run_case
from pipeline.run.takeover import Errors, _nearest, half_carried, takeover_rows
from pipeline.study.stages import Stage
from tests.models import SHORT_PLATE, case_of

HIP = [{"kind": "hip_force", "name": "hip", "force_n": 3000.0}]
NUMBER = re.compile(r"\d+\.?\d*")
PLATE = {"kind": "plate", "name": "plate", "plate": SHORT_PLATE, "defect": {"gap_mm": 3.0}}


def test_half_has_the_flags_of_the_modulus_next_to_it():
    # Definition, on a scale of powers: 5 lies nearer to 10 than to 1.
    assert _nearest({1.0: "soft", 10.0: "stiff"}, 5.0) == "stiff"
    assert _nearest({1.0: "soft", 10.0: "stiff"}, 3.0) == "soft"


def test_half_is_where_the_share_passes_it_on_a_scale_of_powers():
    # Definition: half-way between 40 and 60 % on a logarithmic scale between 1 and 100 MPa is 10.
    assert half_carried([(0.1, 5.0), (1.0, 40.0), (100.0, 60.0)]) == pytest.approx(10.0)


def test_the_first_passing_counts_and_none_is_empty():
    assert half_carried([(1.0, 10.0), (10.0, 90.0), (100.0, 20.0), (1e3, 80.0)]) == pytest.approx(
        10**0.5
    )
    assert half_carried([(1.0, 10.0), (10.0, 49.0)]) == ""
    assert half_carried([(1.0, 70.0), (10.0, 80.0)]) == 1.0


@pytest.mark.slow
def test_flags_at_a_modulus_are_those_that_the_full_model_has_there(monkeypatch: pytest.MonkeyPatch):
    """Of the softest, a middle and the stiffest tissue; shares and forces have those of the load."""
    monkeypatch.setattr("pipeline.run.takeover.POINTS", 3)
    case = case_of(PLATE, "coarse", ("atrophic",), HIP)
    geometry = case.geometry()
    made = Prepared.of(build_mesh(geometry, "coarse"), geometry, case)
    asked = Inquiry(case, reduced_twin(made, made.loads), case.stages[0], case.loads[0])
    rows = [row for row in takeover_rows(asked, Errors({}, {})) if "value" in row]
    moduli = sorted({row["tissue_modulus_mpa"] for row in rows})
    assert len(moduli) == 3
    poisson = case.stages[0].material().poisson
    counts = []
    for modulus in moduli:
        stage = Stage(name="t", modulus_mpa=modulus, poisson_ratio=poisson)
        full = run_case(replace(case, stages=(stage,), asks_more=False), Clock()).rows
        (expected,) = {one.flags for one in full if one.measure.quantity == "gap_movement"}
        own = [row for row in rows if row["tissue_modulus_mpa"] == modulus]
        (told,) = {row["flags"] for row in own}
        assert NUMBER.sub("", told) == NUMBER.sub("", "; ".join(expected))
        numbers = [[float(one) for one in NUMBER.findall(said)] for said in (told, "; ".join(expected))]
        assert numbers[0] == pytest.approx(
            numbers[1], rel=0.03
        )  # a hundredth, and how they are rounded
        counts.append(len(expected))
    assert counts[0] > counts[-1] == 0
