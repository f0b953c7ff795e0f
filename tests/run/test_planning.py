"""What a run will do before it does it: variants, cases alike, shared meshes, what it takes."""

from __future__ import annotations

import re
import tomllib
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from geometries.assembly import assemble
from geometries.errors import StudyError
from pipeline.errors import MeshError
from pipeline.fem.meshing.forecast import expected_unknowns
from pipeline.fem.meshing.mesher import build_mesh
from pipeline.run import jobs
from pipeline.run.complete import limit_of
from pipeline.run.forecast import Allowed, Work
from pipeline.run.planning import cases, plan
from pipeline.run.watch import spoken
from pipeline.storage.meshes import read_mesh, write_failure, write_mesh
from pipeline.storage.provenance import mesh_key
from pipeline.study.config import parse_study


@pytest.fixture
def sweep(demo: dict[str, Any]) -> dict[str, Any]:
    """The demo's plate over a nail at three gaps and two moduli of a tissue."""
    demo["constructs"] = [one for one in demo["constructs"] if one["name"] == "nail-10-plate"]
    demo["stages"] = [{"name": "soft", "modulus_mpa": 2.0, "poisson_ratio": 0.3}]
    demo["design"] = {
        "kind": "grid",
        "factors": [
            {"key": "defect.gap_mm", "values": [2.0, 3.0, 4.5]},
            {"key": "stages.soft.modulus_mpa", "values": [2.0, 8.0]},
        ],
    }
    return demo


def test_tissue_shares_a_mesh_and_an_intact_femur_its_case(sweep: dict[str, Any]):
    # Counted by hand: 3 × 2 variants; a mesh for each gap, and one of the femur without it; the intact
    # femur has no tissue, so both moduli are one case of it at each gap.
    planned = plan(parse_study(sweep, "sweep"))
    assert len(planned.variants) == 6
    assert len(planned.items) == 12
    assert len(planned.distinct) == 9
    assert len(planned.meshes) == 4
    assert planned.solutions == 9
    assert [item.case.variant for item in planned.first] == ["v001", "v001"]


def test_whole_bone_is_meshed_once_for_all_gaps(
    demo: dict[str, Any], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
):
    # Three lengths at one site and one at another: as many cases of the intact femur, one mesh of it,
    # and that of a study that has one of these gaps alone.
    gaps = [(50.0, 5.0), (50.0, 10.0), (50.0, 20.0), (70.0, 8.0)]
    demo["constructs"] = [
        {"kind": "nail", "name": f"n{k}", "defect": {"site_percent": site, "gap_mm": gap}}
        for k, (site, gap) in enumerate(gaps)
    ]
    of_bone = [one for one in plan(parse_study(demo, "gaps")).items if not one.case.has_tissue]
    assert len({one.case.address for one in of_bone}) == 4
    (key,) = {one.mesh for one in of_bone}
    demo["constructs"] = demo["constructs"][2:3]
    assert [one.mesh for one in plan(parse_study(demo, "gap")).items if not one.case.has_tissue] == [
        key
    ]

    made = []
    monkeypatch.setattr(jobs, "build_mesh", lambda *asked: made.append(build_mesh(*asked)) or made[-1])
    for one in of_bone:
        jobs.share_mesh(one.case, tmp_path)
        mesh = read_mesh(tmp_path / jobs.MESHES, one.case.geometry(), "coarse")
        assert mesh is not None
        assert mesh.digest == made[0].digest
    assert len(made) == 1


def test_more_solutions_and_finer_meshes_take_more(sweep: dict[str, Any]):
    # Common practice, no source.
    once = plan(parse_study(sweep, "sweep")).forecast
    sweep["design"]["factors"][1]["values"].append(20.0)
    more = plan(parse_study(sweep, "sweep")).forecast
    sweep["mesh"]["level"] = "fine"
    fine = plan(parse_study(sweep, "sweep")).forecast
    assert once.hours < more.hours < fine.hours
    assert once.memory_gb == more.memory_gb < fine.memory_gb
    assert once.fields_gb < more.fields_gb < fine.fields_gb


def test_a_point_that_can_not_be_built_is_left_out_with_its_reason(sweep: dict[str, Any]):
    # The lint's own clearance: a plate so far up meets no bone at its end.
    factor = {"key": "constructs.nail-10-plate.plate.shift_mm", "values": [0.0, 115.0]}
    sweep["constructs"][0]["plate"] = {"shift_mm": 0.0}
    sweep["design"]["factors"] = [factor]
    planned = plan(parse_study(sweep, "sweep"))
    (refused,) = planned.refused
    assert refused.name == "v002"
    assert "plate" in refused.reason
    assert {item.case.variant for item in planned.items} == {"v001"}
    factor["values"] = [115.0, 116.0]
    with pytest.raises(StudyError, match="no point of the design can be built; the first: "):
        plan(parse_study(sweep, "sweep"))


def test_a_stored_mesh_is_the_mesh_with_the_materials_of_who_reads_it(tmp_path: Path, bench_study: str):
    # Definition: same nodes, cells, parts and patches; steel and titanium have one mesh, lengths not.
    study = tomllib.loads(bench_study)
    steel = cases(parse_study(study, "tubes"))[0]
    tube = steel.construct.model_copy(
        update={"layers": tuple(one.model_copy(update={"material": "titanium"})
                                for one in steel.construct.layers)}
    )  # fmt: skip
    titanium = replace(steel, construct=tube)
    one, other = (assemble(c.construct, c.femur, c.defect) for c in (steel, titanium))
    mesh, key = build_mesh(one, "coarse"), mesh_key(one, "coarse")
    assert key == mesh_key(other, "coarse") != mesh_key(one, "default")
    write_mesh(tmp_path, key, mesh)
    read = read_mesh(tmp_path, other, "coarse")
    assert read is not None
    assert read.digest == mesh.digest
    assert read.patches.keys() == mesh.patches.keys()
    for name, faces in mesh.patches.items():
        np.testing.assert_array_equal(read.patches[name], faces)
    assert {part.material for part in read.parts} == {"titanium"}
    assert 0.5 < expected_unknowns(one, "coarse") / mesh.unknowns < 2


def test_a_torn_mesh_is_made_again_and_a_hopeless_one_is_not(tmp_path: Path, bench_study: str):
    # Definition: what a killed run tore is no mesh; what could not be made says why to all.
    case = cases(parse_study(tomllib.loads(bench_study), "tubes"))[0]
    geometry = assemble(case.construct, case.femur, case.defect)
    key = mesh_key(geometry, "coarse")
    assert read_mesh(tmp_path, geometry, "coarse") is None
    (tmp_path / f"{key}.npz").write_bytes(b"PK torn")
    assert read_mesh(tmp_path, geometry, "coarse") is None
    write_failure(tmp_path, key, "no mesh after 6 attempts")
    with pytest.raises(MeshError, match="no mesh after 6 attempts"):
        read_mesh(tmp_path, geometry, "coarse")


def test_a_limit_is_a_multiple_of_the_forecast_and_follows_the_reduced_model():
    # By hand: 1e6 unknowns, 15 columns in two blocks: 35 + 20 * 3 s a stage, seven of them for a twin.
    work = Work(1_000_000, 3, 15, 2, has_twin=True)
    assert work.allowed(None) == Allowed(mesh_s=600.0, stage_s=20 * 95.0, twin_s=20 * 7 * 95.0)
    assert replace(work, unknowns=2_000_000).allowed(None).mesh_s == 20 * 50.0
    assert replace(work, unknowns=1000).allowed(None) == Allowed(600.0, 600.0, 600.0)
    assert work.allowed(2.5) == Allowed(150.0, 150.0, 150.0)


def test_a_job_s_steps_have_the_limits_of_its_case(demo: dict[str, Any], tmp_path: Path):
    # Definition: the step of each name has its own; what an earlier run said of it is gone.
    item = plan(parse_study(demo | {"explore": True}, "demo")).items[-1]
    stale = tmp_path / f"{item.case.label}.hung.txt"
    stale.write_text("step: mesh\nTimeout (0:00:01)!\n")
    limit, allowed = limit_of(tmp_path, None, item), item.work.allowed(None)
    assert not limit.has_struck
    steps = [limit.of(step) for step in ("mesh", "solve", "errors", "", "reduced")]
    assert steps == [allowed.mesh_s, *[allowed.stage_s] * 3, allowed.twin_s]
    assert allowed.twin_s > allowed.stage_s
    stale.write_text("step: \nstep: reduced\nTimeout (0:00:01)!\n")
    assert limit.has_struck
    assert limit.reason.startswith(f"its reduced model took longer than the {spoken(allowed.twin_s)} ")
    stale.write_text("step: mesh\nTimeout (0:00:01)!\n")
    said = re.search(r"its mesh .* allow more by --time-limit (\d+) \(minutes", limit.reason)
    assert said
    assert 60 * float(said[1]) >= 2 * allowed.twin_s  # what is advised makes no other step fail
