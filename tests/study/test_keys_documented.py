"""The keys of a study file in configs/README.md, against the models and the schema for editors."""

from __future__ import annotations

import re
from collections.abc import Iterator
from typing import Any

import pytest

from pipeline.study.implants import BY_NAME, TABLE
from pipeline.study.schema import study_schema
from pipeline.study.units import TAGS
from tests.study.keys_table import PLACE, TABLES, renewed

TEXT = PLACE.read_text(encoding="utf-8")
SCHEMA = study_schema()
KINDS = {name: one for name, one in SCHEMA["$defs"].items() if "properties" in one} | {
    "StudyConfig": SCHEMA
}
CELL = re.compile(r"\s*\|\s*")


def _documented() -> dict[str, dict[str, list[str]]]:
    """Cells of each key by the heading of its table, read from the page."""
    found: dict[str, dict[str, list[str]]] = {}
    for section in re.split(r"^#### ", TEXT, flags=re.MULTILINE)[1:]:
        heading, *lines = section.splitlines()
        rows = [CELL.split(line.strip("| ")) for line in lines if line.startswith("| `")]
        found[heading] = {key.strip("`"): cells for key, *cells in rows}
    return found


PAGE = _documented()


def _keys() -> Iterator[tuple[str, str, dict[str, Any]]]:
    """Every key of every table that the schema knows: its table, its name, what the schema says."""
    for name, table in KINDS.items():
        for key, entry in table["properties"].items():
            if key not in (*TAGS, TABLE, BY_NAME):
                yield name, key, entry


def _cells(model: str, key: str) -> list[str]:
    """What the page says of a key: in the table of its model, or of one that it has the key from."""
    (own,) = [one for one in TABLES.values() if one.__name__ == model]
    places = {one: heading for heading, one in TABLES.items() if one in own.__mro__}
    there = (PAGE[places[one]] for one in own.__mro__ if one in places)
    return next(rows[key] for rows in there if key in rows)


def test_implants_by_name_are_told_with_an_example():
    """They stand in no model, which sees each implant in its place."""
    assert f"[{TABLE}.retained]" in TEXT
    assert f'{{ {BY_NAME} = "retained", ' in TEXT


def test_the_tables_are_those_of_the_models():
    assert renewed(TEXT) == TEXT, "run python -m tests.study.keys_table"


def test_every_table_of_the_schema_has_its_heading():
    assert set(KINDS) <= {model.__name__ for model in TABLES.values()}
    assert set(PAGE) == set(TABLES)


def test_every_kind_is_named():
    kinds = {
        (tag, table["properties"][tag]["const"])
        for table in KINDS.values()
        for tag in TAGS
        if tag in table["properties"]
    }
    assert {tag for tag, _ in kinds} == {*TAGS}
    assert kinds <= set(re.findall(r'^#### `(\w+) = "(\w+)"`$', TEXT, re.MULTILINE))


@pytest.mark.parametrize(
    ("model", "key", "entry"), [pytest.param(*k, id=".".join(k[:2])) for k in _keys()]
)
def test_a_key_says_the_range_and_the_default_of_the_schema(
    model: str, key: str, entry: dict[str, Any]
):
    allowed, default, _ = _cells(model, key)
    (limits, *_) = [one for one in entry.get("anyOf", [entry]) if one.get("type") != "null"]
    low, high = (
        limits.get(inside, limits.get(outside))
        for inside, outside in (("minimum", "exclusiveMinimum"), ("maximum", "exclusiveMaximum"))
    )
    if low is not None:
        said = re.search(r"(above )?(-?[\d.]+) to (below )?(-?[\d.]+)$", allowed)
        assert (float(said[2]), float(said[4])) == (low, high)
        assert (bool(said[1]), bool(said[3])) == (
            "exclusiveMinimum" in limits,
            "exclusiveMaximum" in limits,
        )
    for word in limits.get("enum", []):
        assert f'`"{word}"`' in allowed
    if isinstance(entry.get("default"), str | int | float):
        assert _plain(default) == str(entry["default"]).lower()
    assert (default == "required") == ("default" not in entry)


def _plain(cell: str) -> str:
    return cell.strip('`"').lower()
