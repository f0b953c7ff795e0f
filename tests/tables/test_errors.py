"""Errors from three mesh levels: what each value of the study's own level is given."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from pipeline.tables.errors import LEVELS, OF_OWN, Sampled, sound_values, with_errors
from pipeline.tables.rows import Row, read_results, write_results

SIZES = (1.0, 2.0, 4.0)  # of the cells, fine to coarse
Three = tuple[float | None, float | None, float | None]


def judged(values: dict[tuple[str, str], Three], *others: Row) -> list[Row]:
    """Rows at the default level of a construct that ran on all, by quantity and load."""

    def at(k: int) -> list[Row]:
        return [
            Row(construct="thin", quantity=name, load=load, location="sections", value=three[k],
                status="failed" if three[k] is None else "ok")
            for (name, load), three in values.items()
        ]  # fmt: skip

    tables = {level: sound_values(at(k)) for k, level in enumerate(LEVELS)}
    kinds = {"thin": "specimen", **{row.label: "specimen" for row in others}}
    known = Sampled("default", tables, {"thin": SIZES}, kinds, frozenset(("thin", "lost")))
    return with_errors([*at(1), *others], known)


def test_every_value_gets_its_index_and_its_verdict(tmp_path: Path):
    # Second order by construction: f = 10 + 0.2 h², h = 1, 2, 4; so the value at the middle level is
    # 0.8 off, and 1.25 * 0.8 / 10.8 = 9.26 %.
    rows = judged({
        ("axial_stiffness", "pull"): (10.2, 10.8, 13.2),
        ("von_mises_5mm3", "pull"): (300, 200, 100),
        ("gap_axial_movement", "pull"): (1.0, 1.1, 0.9),
        ("gap_shear_movement", "pull"): (2, 2, 2),
        ("proximal_movement", "pull"): (1.0, None, 1.2),
    })  # fmt: skip
    write_results(tmp_path, rows)
    stiff, peak, closing, shear, lost = read_results(tmp_path / "results.csv")
    assert stiff.mesh == "three meshes: converging, order 2"
    assert stiff.extrapolated == pytest.approx(10, rel=1e-6)
    assert stiff.error == pytest.approx(100 * 1.25 * 0.8 / 10.8, rel=1e-2)
    assert (peak.mesh, peak.error) == ("three meshes: singular, do not quote", None)
    assert closing.mesh == "three meshes: oscillatory"
    assert (shear.mesh, shear.error) == ("three meshes: exact", 0)
    assert (lost.mesh, lost.error) == ("", None)
    assert [row.extrapolated for row in (peak, closing, shear, lost)] == [None, None, 2, None]


def test_meshes_that_agree_by_chance_leave_a_part_of_what_each_told():
    # A screw's force that hardly oscillates: 3 times its spread is 0.6 %, and its mesh told 12 %.
    values = [("fine", 100.1), ("default", 100.0), ("coarse", 100.2)]
    row = Row(construct="thin", quantity="pin_shear_force", location="screw_1", value=100.0)
    told = replace(row, error=12.0, mesh="of its class")
    tables = {level: {(row.label, row.key): value} for level, value in values}
    known = Sampled("default", tables, {"thin": SIZES}, {"thin": "plate"}, frozenset(("thin",)))
    (alone,), (found,) = with_errors([row], known), with_errors([told], known)
    assert alone.error == pytest.approx(3 * 0.2, rel=1e-2)
    assert found.error == pytest.approx(OF_OWN * 12.0)
    assert found.mesh == "three meshes: oscillatory"


def test_what_should_be_zero_has_no_error():
    # Shear under pure torsion: digits of round-off beside the shear of another load.
    pull, twist = judged({
        ("gap_shear_movement", "pull"): (3.1, 3.2, 3.6),
        ("gap_shear_movement", "twist"): (2e-10, -1e-10, 7e-10),
    })  # fmt: skip
    assert pull.mesh.startswith("three meshes: converging")
    assert (twist.mesh, twist.error) == ("round-off", None)


def test_others_borrow_and_what_failed_on_a_level_of_its_own_does_not():
    like = {"quantity": "axial_stiffness", "load": "pull", "location": "sections", "value": 5.0}
    values: dict[tuple[str, str], Three] = {("axial_stiffness", "pull"): (10.2, 10.8, 13.2)}
    own, other, lost = judged(values, Row(construct="thick", **like), Row(construct="lost", **like))
    assert other.error == own.error
    assert other.mesh == "borrowed from 1 of 3 constructs: thin; same stage and load"
    assert (lost.error, lost.mesh) == (None, "")


def test_a_row_that_failed_borrows_nothing():
    """It has a value where its balance failed, which nobody may use, so nobody needs its error."""
    failed = Row(construct="thick", quantity="axial_stiffness", load="pull", location="sections",
                 value=5.0, status="failed", reason="forces do not balance")  # fmt: skip
    rows = judged({("axial_stiffness", "pull"): (10.2, 10.8, 13.2)}, failed)
    assert rows[-1] == failed


def test_a_value_that_failed_is_none_of_three():
    failed = Row(construct="thin", quantity="axial_stiffness", load="pull", location="sections",
                 value=5.0, status="failed", reason="forces do not balance")  # fmt: skip
    assert sound_values([failed]) == {}
    assert sound_values([replace(failed, status="ok")]) == {("thin", failed.key): 5.0}
