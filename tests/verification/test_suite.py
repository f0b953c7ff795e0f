"""The suite that `gapstrain verify` runs: every case within its tolerance, and able to fail."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest

from pipeline.errors import SolveError
from pipeline.output.pages import verification_page
from pipeline.storage.files import VERIFICATION, read_table
from pipeline.verification.blocks import mapped_block
from pipeline.verification.body import Body
from pipeline.verification.check import Check, Problem
from pipeline.verification.frame import Bar, BarSection, solve_frame
from pipeline.verification.suite import PROBLEMS, selected, verify, write_outcomes


@pytest.mark.parametrize(
    "problem",
    [pytest.param(p, id=p.name, marks=() if p.quick else pytest.mark.slow) for p in PROBLEMS],
)
def test_every_number_is_within_its_tolerance(problem: Problem):
    # Sources stand beside each expected value in pipeline/verification.
    checks = list(problem.run())
    assert checks
    for check in checks:
        assert check.passed, f"{check.quantity}: {check.computed:g} against {check.expected:g}"
        assert check.source


def test_names_are_unique_and_quick_is_a_part():
    assert len({problem.name for problem in PROBLEMS}) == len(PROBLEMS)
    assert set(selected(quick=True)) < set(selected(quick=False)) == set(PROBLEMS)


def one(computed: float, expected: float, tolerance: float, rule="share") -> Check:
    return Check("a number", "mm", computed, expected, tolerance, "definition", "derived", rule)


@pytest.mark.parametrize(
    ("check", "passed"),
    [
        (one(10.09, 10.0, 0.01), True),
        (one(10.11, 10.0, 0.01), False),
        (one(-9.89, -10.0, 0.01), False),
        (one(1e-8, 0.0, 1e-7, "difference"), True),
        (one(-1e-6, 0.0, 1e-7, "difference"), False),
        (one(3.4, 2.8, 0.0, "at least"), True),
        (one(2.7, 2.8, 0.0, "at least"), False),
        (one(float("nan"), 10.0, 0.01), False),
        (one(float("nan"), 2.8, 0.0, "at least"), False),
    ],
)
def test_a_check_passes_within_its_tolerance_only(check: Check, passed: bool):
    assert check.passed is passed


def wrong() -> Iterator[Check]:
    yield one(1.0, 1.0, 0.01)
    yield one(1.2, 1.0, 0.01)


def unsolvable() -> Iterator[Check]:
    yield one(1.0, 1.0, 0.01)
    raise SolveError("solver: something <slides>")


def test_failures_reach_table_and_page_as_text(tmp_path: Path):
    problems = (Problem("wrong", "A wrong one", wrong), Problem("none", "None & nothing", unsolvable))
    outcomes = list(verify(problems))
    assert [outcome.passed for outcome in outcomes] == [False, False]
    write_outcomes(outcomes, tmp_path)
    rows = read_table(tmp_path / VERIFICATION)
    assert [row["result"] for row in rows] == ["passed", "failed", "failed"]
    assert rows[2]["reason"] == "solver: something <slides>"
    page = verification_page(tmp_path, "gapstrain 0", "Research only.").read_text()
    assert "1 of 3 numbers" in page
    assert "something &lt;slides&gt;" in page
    assert "None &amp; nothing" in page
    assert "<slides>" not in page
    assert "Research only." in page


def test_blocks_fill_their_volume_whatever_the_map():
    # Definition: determinant of a linear map; a mirrored one keeps cells the right way round.
    lines = np.array([0.0, 0.3, 1.0])
    for mirror in (1.0, -1.0):
        matrix = np.array([[2.0, 0.3, 0.0], [0.0, 1.0, 0.2], [0.1, 0.0, 3.0 * mirror]])
        volume = abs(float(np.linalg.det(matrix)))
        mesh = mapped_block((lines, lines, lines), volume, lambda p, m=matrix: p @ m)
        assert mesh.part_volumes.sum() == pytest.approx(volume, rel=1e-12)
        assert len(mesh.nodes) == 125  # a grid of boxes with middles: none is missing, none double


def test_least_held_stops_rigid_motions_and_nothing_else():
    # Statics: six components, and a body under balanced forces leaves them without reaction.
    lines = np.linspace(0, 3, 4)
    body = Body(mapped_block((lines, lines, lines), 27.0), ((900.0, 0.3),))
    held = body.least_held()
    assert held.sum() == 6
    ends = body.faces(lambda p: (p[:, 2] < 1e-9) | (p[:, 2] > 3 - 1e-9))
    found = body.solve(body.traction(ends, lambda _, normal: normal), held)
    assert np.abs(found.reaction).max() < 1e-9


def test_frame_gives_the_handbook_cantilever():
    # P L³ / 3EI + P L / GA sideways, P L / EA along; read in open code. At 30 degrees.
    section, L, P = BarSection(EA=3e5, EI=7e6, GA=1.1e5), 40.0, 25.0
    along = np.array([np.cos(np.pi / 6), np.sin(np.pi / 6)])
    across = np.array([-along[1], along[0]])
    joints, held = np.array([[0.0, 0.0], L * along]), np.array([[True] * 3, [False] * 3])
    for direction, expected in (
        (across, P * L**3 / (3 * section.EI) + P * L / section.GA),
        (along, P * L / section.EA),
    ):
        forces = np.zeros((2, 3))
        forces[1, :2] = P * direction
        moved = solve_frame(joints, [Bar(0, 1, section)], forces, held)[1, :2]
        np.testing.assert_allclose(moved, expected * direction, rtol=1e-12)
