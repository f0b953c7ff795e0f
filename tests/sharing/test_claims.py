"""Claims: what may be written, and which results bear them out."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from geometries.errors import StudyError
from pipeline.sharing.claims import Claim, borne_out, judge, load_claims
from pipeline.tables.judged import CLAIM_COLUMNS, OPEN
from pipeline.tables.rows import Row
from tests.runs import CONSTRUCTS, rows_of

TABLE = [Row(**row) for name in CONSTRUCTS for row in rows_of(name, {})]
LOWERS: dict[str, Any] = {
    "sentence": "Adding the plate lowers shear at the far cortex by 60 ± 5 %.",
    "kind": "change_percent", "value": -60, "tolerance": 5, "unit": "%",
    "quantity": "gap_shear_movement", "location": "far", "stage": "atrophic", "load": "hip",
    "construct": "nail-10-plate", "compared_with": "nail-10",
}  # fmt: skip
ALONE = {"kind": "value", "compared_with": None, "unit": "mm", "construct": "nail-10"}
BOUND = {"value": None, "tolerance": None, "unit": None}
LESS = {"kind": "less_than", "compared_with": None, "tolerance": None, "unit": "mm"}


def claim(**changes: Any) -> Claim:
    return Claim.model_validate(LOWERS | changes)


def only(one: Claim, table: Any = TABLE, chosen: Any = None) -> dict[str, Any]:
    (found,) = judge([one], table, chosen)
    assert set(found) == set(CLAIM_COLUMNS)
    return found


# Expected values: by hand from tests/runs.py, by the definitions of change and ratio.
@pytest.mark.parametrize(
    ("changes", "computed", "result"),
    [
        ({}, 100 * (0.2037 / 0.517 - 1), "holds"),  # -60.6
        ({"value": -66.0}, 100 * (0.2037 / 0.517 - 1), "fails"),
        ({"value": 60.0}, 100 * (0.2037 / 0.517 - 1), "fails"),
        ({"tolerance": None, "within_percent": 2.0}, 100 * (0.2037 / 0.517 - 1), "holds"),
        ({"tolerance": None, "within_percent": 0.5}, 100 * (0.2037 / 0.517 - 1), "fails"),
        ({"kind": "ratio", "value": 0.4, "tolerance": 0.01, "unit": "1"}, 0.2037 / 0.517, "holds"),
        ({"kind": "ratio", "value": 0.4, "tolerance": 0.005, "unit": "1"}, 0.2037 / 0.517, "fails"),
        (ALONE | {"value": 0.52, "tolerance": 0.01}, 0.517, "holds"),
        (ALONE | {"value": 0.53, "tolerance": 0.01}, 0.517, "fails"),
        (BOUND | {"kind": "less_than"}, 0.2037, "holds"),
        (BOUND | {"kind": "greater_than"}, 0.2037, "fails"),
        (LESS | {"value": 0.21}, 0.2037, "holds"),
        (LESS | {"value": 0.2}, 0.2037, "fails"),
    ],
)  # fmt: skip
def test_a_claim_is_held_against_the_result(changes: Any, computed: float, result: str):
    found = only(claim(**changes))
    assert found["computed"] == pytest.approx(computed)
    assert (found["result"], found["reason"]) == (result, "")
    assert borne_out([found]) == (result == "holds")


def test_signs_that_only_say_which_way_are_left_out_of_a_change_and_kept_in_a_value():
    axial = {"quantity": "gap_axial_movement"}  # -0.83 of the nail, +0.31 with the plate
    change = only(claim(**axial, value=-62.0))
    assert change["computed"] == pytest.approx(100 * (0.31 / 0.83 - 1))
    assert (change["result"], change["reason"]) == ("holds", "the two are of unlike sign")
    value = only(claim(**axial | ALONE, value=-0.83, tolerance=0.01))
    assert (value["computed"], value["result"]) == (-0.83, "holds")
    less = LESS | axial | {"construct": "nail-10"}
    assert only(claim(**less, value=0.5))["result"] == "fails"  # 0.83 is its size
    assert only(claim(**less, value=0.9))["result"] == "holds"


# By hand: of 0.2037 / 0.517 the errors in sum are 3 %, so of -60.6 % they are 1.18; 0.2037 ± 2 % is
# 0.00407, and both errors 0.00407 + 0.00517.
@pytest.mark.parametrize(
    ("changes", "error", "reason"),
    [
        ({}, 1.18201, ""),  # 4.4 from the nearer limit
        ({"value": -65.0}, 1.18201, OPEN),  # holds by 0.6
        ({"value": -66.0}, 1.18201, OPEN),  # fails by 0.4
        ({"value": -70.0}, 1.18201, ""),  # fails by 4.4
        ({"kind": "ratio", "value": 0.4, "tolerance": 0.005, "unit": "1"}, 0.0118201, OPEN),
        (ALONE | {"value": 0.52, "tolerance": 0.01}, 0.00517, ""),
        (ALONE | {"value": 0.53, "tolerance": 0.01}, 0.00517, OPEN),
        (BOUND | {"kind": "less_than"}, 0.009244, ""),
        (LESS | {"value": 0.21}, 0.004074, ""),
        (LESS | {"value": 0.2}, 0.004074, OPEN),
    ],
)
def test_an_error_that_reaches_the_limit_is_said_and_turns_no_verdict(
    changes: Any, error: float, reason: str
):
    shares = {"nail-10": 1.0, "nail-10-plate": 2.0}  # percent
    table = [replace(row, error=shares[row.construct]) for row in TABLE]
    found, plain = only(claim(**changes), table), only(claim(**changes))
    assert found["error"] == pytest.approx(error, rel=1e-4)
    assert found["reason"] == reason
    assert (found["result"], plain["error"]) == (plain["result"], "")


def test_the_highest_stress_of_any_implant_can_be_claimed():
    stress = {"quantity": "von_mises_5mm3", "location": "highest", "stage": "woven"}
    found = only(claim(**stress | ALONE | {"value": 300.0, "tolerance": 5.0, "unit": "MPa"}))
    assert (found["computed"], found["result"]) == (301.5, "holds")


def test_a_location_may_be_left_out_where_there_is_but_one():
    assert only(claim(location=None))["result"] == "holds"
    stress = {"quantity": "von_mises_5mm3", "location": None, "stage": "woven"}
    found = only(claim(**stress))
    assert found["result"] == "can not be judged"
    assert "at: nail, bolt_1; correct the location" in found["reason"]


@pytest.mark.parametrize(
    ("changes", "table", "reason"),
    [
        ({"construct": "plate"}, TABLE, "no results of plate, only of nail-10, nail-10-plate; correct"),
        ({"load": "walking"}, TABLE, "nail-10-plate has gap_shear_movement under walking at: nowhere"),
        ({"variant": "v007"}, TABLE, "no results of nail-10-plate of variant 'v007', only of nothing"),
        ({}, [*TABLE, Row(construct="nail-10", status="failed", reason="no mesh")],
         "nail-10 failed: no mesh"),
        ({}, [TABLE[7], replace(TABLE[0], value=0.0)],
         "nail-10 has 0, which nothing can be divided by"),
    ],
)  # fmt: skip
def test_a_claim_without_a_result_fails_and_says_why(changes: Any, table: Any, reason: str):
    found = only(claim(**changes), table)
    assert (found["result"], found["computed"]) == ("can not be judged", "")
    assert found["reason"].startswith(reason)
    assert not borne_out([found])


def test_a_variant_is_judged_by_its_own_rows():
    table = [replace(row, variant=name, value=row.number * factor)
             for name, factor in (("v1", 1.0), ("v2", 3.0)) for row in TABLE]  # fmt: skip
    own = claim(**ALONE | {"value": 0.517, "tolerance": 0.01, "variant": "v1"})
    other = claim(**ALONE | {"value": 0.517, "tolerance": 0.01, "variant": "v2"})
    assert [row["result"] for row in judge([own, other], table)] == ["holds", "fails"]


def test_a_claim_on_what_was_not_run_is_no_failure():
    found = only(claim(), TABLE[7:], ["nail-10-plate"])
    assert found["result"] == "not in the subset"
    assert borne_out([found])


def test_doubts_of_either_result_are_passed_on_and_say_whose_they_are():
    table = [replace(row, flags="nail touches") for row in TABLE]
    assert only(claim(), table)["flags"] == "nail-10-plate: nail touches; nail-10: nail touches"
    alone = claim(**ALONE | {"value": 0.5, "tolerance": 0.1})
    assert only(alone, table)["flags"] == "nail touches"


# --- The file ----------------------------------------------------------------------------------------


def written(path: Path, entry: dict[str, Any]) -> Path:
    lines = [f"{key} = {value!r}" for key, value in entry.items() if value is not None]
    path.write_text("[[claims]]\n" + "\n".join(lines), encoding="utf-8")
    return path


def test_a_claims_file_is_read(tmp_path: Path):
    assert load_claims(written(tmp_path / "claims.toml", LOWERS)) == (claim(),)


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"quantity": "gap_sheer_movement"}, "quantity = 'gap_sheer_movement': no such quantity; the "
         "nearest allowed are gap_shear_movement"),
        ({"colour": "red"}, "claims.0.colour = 'red': unknown key; allowed sentence, kind, "),
        ({"construct": None}, "claims.0.construct: missing; add it"),
        ({"tolerance": None}, "either tolerance or within_percent"),
        ({"within_percent": 3.0}, "either tolerance or within_percent"),
        ({"unit": "mm"}, "unit = 'mm': allowed is unit = '%' for kind = 'change_percent'"),
        ({"unit": None}, "unit = None: allowed is unit = '%'"),
        ({"compared_with": None}, "add or remove compared_with"),
        ({"kind": "value", "unit": "mm"}, "add or remove compared_with"),
        ({"compared_with": "nail-10-plate"}, "is the construct itself"),
        ({"kind": "less_than"}, "needs either value or compared_with"),
        ({"kind": "less_than", "value": None, "tolerance": None}, "allowed is none, as no value"),
        ({"value": None}, "needs the value that is stated"),
        ({"value": 0.0, "tolerance": None, "within_percent": 3.0}, "give a tolerance"),
        ({"tolerance": -1.0}, "claims.0.tolerance = -1.0: allowed above 0"),
        ({"kind": "about"}, "claims.0.kind = 'about'"),
        ({"value": "60"}, "claims.0.value = '60': input should be a valid number"),
    ],
)  # fmt: skip
def test_what_can_not_be_judged_is_refused(tmp_path: Path, changes: Any, words: str):
    with pytest.raises(StudyError) as caught:
        load_claims(written(tmp_path / "claims.toml", LOWERS | changes))
    assert words in str(caught.value)
    assert len(str(caught.value).splitlines()) == 1


def test_a_file_that_is_none_is_a_sentence(tmp_path: Path):
    path = tmp_path / "claims.toml"
    with pytest.raises(StudyError, match="no such file; give the path of a claims file"):
        load_claims(path)
    path.write_text("claims = [")
    with pytest.raises(StudyError, match="not valid TOML"):
        load_claims(path)
    path.write_text("claims = []")
    with pytest.raises(StudyError, match="claims: no claim; give at least one"):
        load_claims(path)
