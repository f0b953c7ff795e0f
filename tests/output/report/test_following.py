"""Colours that follow: a page keeps those of cells that it shows, and refuses what is not whole."""

from __future__ import annotations

from base64 import b64decode, b64encode
from typing import Any

import numpy as np
import pytest

from geometries.errors import StudyError
from pipeline.output.report.following import cells_of, shown_of, without_colours

CELLS, SHARES = np.array([3, 8, 5, 13]), 2


def text(values: np.ndarray, kind: str) -> str:
    return b64encode(values.astype(kind).tobytes()).decode()


def live(**other: str) -> dict[str, Any]:
    values = np.arange(len(CELLS) * 5 * SHARES)
    field = {"cells": text(CELLS, "<i4"), "values": text(values, "i1"), "rows": "AAAA"} | other
    return {"constructs": [{"name": "plate", "fields": {"stress": field}}, {"name": "older"}]}


def shells(*near: int) -> list[dict[str, str]]:
    own = {"shows": "stress", "near": text(np.array(near), "<u4")}
    return [own, {"shows": "stress", "near": ""}, {"shows": "", "near": ""}]


def test_cells_are_told_by_construct_and_field():
    assert cells_of(live())["plate"]["stress"].tolist() == CELLS.tolist()
    assert cells_of(live())["older"] == {}  # of a run before there were such colours
    assert cells_of(None) == {}


def test_only_shown_cells_stay_with_their_own_values():
    one = shown_of(live(), "plate", shells(13, 3, 13))["stress"]
    assert np.frombuffer(b64decode(one["cells"]), "<i4").tolist() == [3, 13]
    values = np.frombuffer(b64decode(one["values"]), "i1").reshape(2, -1)
    assert values.tolist() == [[*range(10)], [*range(30, 40)]]  # of the first and of the last cell
    assert one["rows"] == "AAAA"


def test_without_surfaces_or_models_nothing_follows():
    assert shown_of(live(), "plate", []) == {}
    assert shown_of(live(), "older", shells(3)) == {}
    assert shown_of(live(), "none", shells(3)) == {}
    assert shown_of(None, "plate", shells(3)) == {}


def test_colours_are_in_the_page_once():
    found = without_colours(live())
    assert found is not None
    assert found["constructs"] == [{"name": "plate"}, {"name": "older"}]
    assert without_colours(None) is None


@pytest.mark.parametrize(
    "other",
    [
        {"cells": ""},
        {"values": text(np.arange(19), "i1")},
        {"cells": "!"},
        {"values": "AAA"},
        {"cells": "AAAA"},
    ],
)
def test_what_is_not_whole_is_refused(other: dict[str, str]):
    with pytest.raises(StudyError, match="colours of 'plate' are not whole; give the file"):
        cells_of(live(**other))
