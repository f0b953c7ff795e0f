"""Two runs compared: what is allowed, what is missing, and where they are most apart."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from geometries.errors import StudyError
from pipeline.measures.dictionary import QUANTITIES
from pipeline.sharing import compare as comparing
from pipeline.sharing.compare import DIFFERENCE_COLUMNS, agree, compare
from pipeline.sharing.tolerances import RESIDUALS, TAILS, Tolerances
from pipeline.storage.files import read_table, write_table
from pipeline.tables.rows import Row, read_results
from tests.made import address_of
from tests.runs import VALUES, write_run

SHEAR = ("nail-10", "atrophic", "hip", "gap_shear_movement", "far")
STRESS = ("nail-10", "woven", "hip", "von_mises_5mm3", "bolt_1")
ROUND_OFF = ("nail-10", "woven", "torsion", "gap_shear_movement", "far")
RESIDUAL = ("nail-10", "woven", "hip", "fragment_residual", "distal")


def rows(tmp_path: Path, changed: dict[Any, float], mesh: str = "m", **how: Any) -> dict[str, Any]:
    """Rows of the comparison of a run with itself but for some values, by quantity."""
    a, b = write_run(tmp_path / "a"), write_run(tmp_path / "b", changed, mesh)
    found = compare(a, b, **how)
    assert all(tuple(sorted(row)) == tuple(sorted(DIFFERENCE_COLUMNS)) for row in found)
    return {str(row["quantity"]): row for row in found}


def value(key: tuple[str, ...]) -> float:
    return VALUES[key[1], key[2], key[3], key[4]][0]


def outside(found: dict[str, Any]) -> list[str]:
    return [name for name, row in found.items() if row["verdict"] == "outside"]


def test_a_run_is_itself(tmp_path: Path):
    folder = write_run(tmp_path / "a")
    found = compare(folder, folder)
    assert agree(found)
    assert sum(int(str(row["pairs"])) for row in found) == 2 * len(VALUES)
    assert {row["meshes"] for row in found} == {"same"}
    assert all(row["difference"] == 0 for row in found)


def test_nothing_compared_is_no_agreement(tmp_path: Path):
    folder = write_run(tmp_path / "a")
    assert not agree(compare(folder, folder, only=["another"]))


def test_one_percent_in_one_cell_is_outside_and_named(tmp_path: Path):
    found = rows(tmp_path, {SHEAR: 1.01 * value(SHEAR)}, mesh="another")
    assert outside(found) == ["gap_shear_movement"]
    row = found["gap_shear_movement"]
    assert [row[name] for name in ("construct", "stage", "load", "quantity", "location")] == list(SHEAR)
    assert (row["pairs"], row["outside"], row["meshes"]) == (4, 1, "not the same")
    assert row["difference"] == pytest.approx(0.01 * value(SHEAR))  # definition
    assert row["difference_percent"] == pytest.approx(1 / 1.01)  # of the larger; definition
    assert row["allowed"] == pytest.approx(0.005 * 1.01 * value(SHEAR))  # half a percent


@pytest.mark.parametrize(
    ("mesh", "key", "factor", "inside"),
    [
        ("m", SHEAR, 1 + 5e-6, False),
        ("m", SHEAR, 1 + 5e-7, True),
        ("another", SHEAR, 1.004, True),
        ("another", SHEAR, 0.994, False),
        ("another", STRESS, 0.96, True),  # a few mm³ decide
        ("another", STRESS, 1.06, False),
        ("m", STRESS, 1.0001, False),  # not on the same mesh
        ("m", ROUND_OFF, -40.0, True),  # 9e-8 beside 0.517 of the same quantity
        ("m", ROUND_OFF, 1000.0, False),  # 2.2e-6 is no round-off any more
        ("m", RESIDUAL, 100.0, True),  # 3e-9, far below 1e-6
        ("m", RESIDUAL, 1e5, False),
    ],
)
def test_what_is_allowed(tmp_path: Path, mesh: str, key: Any, factor: float, inside: bool):
    found = rows(tmp_path, {key: factor * value(key)}, mesh)
    assert outside(found) == ([] if inside else [key[3]])


def test_a_tolerance_of_one_s_own_holds_for_all(tmp_path: Path):
    changed = {SHEAR: 1.02 * value(SHEAR), STRESS: 1.02 * value(STRESS)}
    assert outside(rows(tmp_path / "1", changed, tolerances=Tolerances.of_percent(3.0))) == []
    strict = rows(tmp_path / "2", changed, mesh="another", tolerances=Tolerances.of_percent(1.0))
    assert outside(strict) == ["gap_shear_movement", "von_mises_5mm3"]


def test_the_last_printed_digit_is_inside():
    """Tables have seven significant digits; a unit of the last one weighs most after a leading 1."""
    usual = Tolerances()
    a, b = 1.000000, 1.000001
    assert b - a <= usual.allowed("axial_stiffness", usual.share("axial_stiffness", True, False), b, b)


def test_a_value_that_three_meshes_show_to_be_singular_is_allowed_more(tmp_path: Path):
    a, b = write_run(tmp_path / "a"), write_run(tmp_path / "b", {SHEAR: 1.03 * value(SHEAR)}, "another")
    assert not agree(compare(a, b))
    table = read_table(a / "results.csv")
    for row in table:
        row["mesh"] = "three meshes: singular, do not quote"
    write_table(a / "results.csv", table, tuple(table[0]))
    assert agree(compare(a, b))


def spoiled(folder: Path, change: Any) -> Path:
    path = folder / "results.csv"
    table = read_table(path)
    columns = tuple(table[0])
    write_table(path, change(table), columns)
    return folder


@pytest.mark.parametrize("first", [True, False])
def test_a_row_of_one_run_alone_is_outside(tmp_path: Path, first: bool):
    a, b = write_run(tmp_path / "a"), write_run(tmp_path / "b")
    spoiled(b if first else a, lambda table: [row for row in table if row["location"] != "bolt_1"])
    found = {str(row["quantity"]): row for row in compare(a, b)}
    assert outside(found) == ["von_mises_5mm3"]
    row = found["von_mises_5mm3"]
    assert row["reason"] == f"only {'a' if first else 'b'} has this row"
    assert (row["outside"], row["location"], row["difference"]) == (2, "bolt_1", "")
    assert row["a" if first else "b"] == 301.5


def test_a_failure_of_one_run_alone_is_outside(tmp_path: Path):
    a, b = write_run(tmp_path / "a"), write_run(tmp_path / "b")
    lost = {"construct": "nail-10", "stage": "empty", "load": "hip", "quantity": "", "location": "",
            "value": "", "status": "failed", "reason": "a mechanism"}  # fmt: skip
    spoiled(b, lambda table: [lost, *table])
    found = {str(row["quantity"]): row for row in compare(a, b)}
    assert outside(found) == ["status"]
    assert (found["status"]["stage"], found["status"]["reason"]) == ("empty", "only b has this row")
    spoiled(a, lambda table: [lost, *table])
    assert agree(compare(a, b))


def test_a_value_that_failed_its_checks_in_one_run_is_outside(tmp_path: Path):
    a, b = write_run(tmp_path / "a"), write_run(tmp_path / "b")

    def fail(table: Any) -> Any:
        return [row | {"status": "failed"} if row["location"] == "bolt_1" else row for row in table]

    spoiled(b, fail)
    found = {str(row["quantity"]): row for row in compare(a, b)}
    assert found["von_mises_5mm3"]["reason"] == "ok in a, failed in b"
    assert agree(compare(b, b))


@pytest.mark.parametrize("text", ["nan", "inf", "-inf"])
def test_what_is_no_finite_number_is_outside(tmp_path: Path, text: str):
    a, b = write_run(tmp_path / "a"), write_run(tmp_path / "b")
    spoiled(b, lambda table: [{**table[0], "value": text}, *table[1:]])
    assert not agree(compare(a, b))
    assert not agree(compare(b, a))


def test_rows_of_two_variants_are_not_mixed_up(tmp_path: Path):
    def twice(table: Any) -> Any:
        return [row | {"variant": name} for name in ("v001", "v002") for row in table]

    a, b = (spoiled(write_run(tmp_path / name), twice) for name in "ab")
    spoiled(b, lambda table: [
        row | {"value": 1.5 * float(row["value"])} if row["variant"] == "v002" else row for row in table
    ])  # fmt: skip
    assert {row["variant"] for row in compare(a, b) if row["verdict"] == "outside"} == {"v002"}


def test_the_order_of_constructs_does_not_matter(tmp_path: Path):
    """Definition: pairs are those of a construct's rows, wherever it stands in either table."""
    a, b = write_run(tmp_path / "a"), write_run(tmp_path / "b", {SHEAR: 1.5 * value(SHEAR)})
    straight = {str(row["quantity"]): row for row in compare(a, b)}
    assert outside(straight) == ["gap_shear_movement"]
    names = list(dict.fromkeys(row["construct"] for row in read_table(b / "results.csv")))
    assert len(names) > 1
    spoiled(b, lambda table: sorted(table, key=lambda row: -names.index(row["construct"])))
    turned = {str(row["quantity"]): row for row in compare(a, b)}
    assert turned.keys() == straight.keys()
    assert outside(turned) == outside(straight)
    for name, row in turned.items():
        assert (row["pairs"], row["outside"]) == (straight[name]["pairs"], straight[name]["outside"])
    assert turned["gap_shear_movement"] == straight["gap_shear_movement"]


def test_neither_run_is_held_whole(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    """Of a hundred variants in one order neither table is read more than a construct ahead."""

    def many(table: Any) -> Any:
        return [row | {"variant": f"v{k:03d}"} for k in range(100) for row in table]

    a, b = (spoiled(write_run(tmp_path / name), many) for name in "ab")
    ahead: list[int] = [0]

    def watched(path: Path) -> Iterator[Row]:
        for row in read_results(path):
            ahead.append(ahead[-1] + (1 if path.parent == a else -1))
            yield row

    monkeypatch.setattr(comparing, "read_results", watched)
    assert agree(compare(a, b))
    assert len(ahead) > 200 * len(VALUES)
    assert max(map(abs, ahead)) <= len(VALUES) + 1  # and the row by which its end is seen


def test_rows_of_a_construct_that_stand_apart_are_a_sentence(tmp_path: Path):
    a = write_run(tmp_path / "a")
    spoiled(a, lambda table: [*table[1:], table[0]])
    with pytest.raises(StudyError, match=r"rows of nail-10 stand apart; give the table as a run wrote"):
        compare(a, a)


def test_without_a_list_of_cases_no_mesh_is_known_to_be_the_same(tmp_path: Path):
    a, b = write_run(tmp_path / "a"), write_run(tmp_path / "b")
    for folder in (a, b):
        (folder / "cases.csv").unlink()
        assert {row["meshes"] for row in compare(a, b)} == {"not the same"}


def test_a_summary_that_no_run_wrote_is_a_sentence(tmp_path: Path):
    a = write_run(tmp_path / "a")
    for text in ("{", "3", "[" * 100_000):
        (a / "cases" / address_of("nail-10") / "summary.json").write_text(text)
        with pytest.raises(StudyError, match=r"summary.json: can not be read .*as a run wrote it"):
            compare(a, a)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("construct,stage\na,b\n", r"line 2: no load, quantity, location, value, status; give the"),
        ("construct,stage,load,quantity,location,value,status\na,b,c,d,e,__import__('os'),ok\n",
         r"value = \"__import__\('os'\)\": allowed is a number"),
    ],
)  # fmt: skip
def test_a_table_that_no_run_wrote_is_a_sentence(tmp_path: Path, text: str, words: str):
    a = write_run(tmp_path / "a")
    (a / "results.csv").write_text(text)
    with pytest.raises(StudyError, match=words):
        compare(a, a)
    (a / "results.csv").unlink()
    with pytest.raises(StudyError, match=r"results.csv: can not be read .*give a finished run"):
        compare(a, a)


def test_the_special_quantities_are_in_the_dictionary():
    assert set(QUANTITIES) >= TAILS | RESIDUALS
