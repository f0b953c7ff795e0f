"""The schema for editors, judged by jsonschema: it takes what gapstrain takes, and refuses mistakes."""

from __future__ import annotations

import json
import tomllib
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from jsonschema import Draft202012Validator
from typer.testing import CliRunner

from pipeline import cli
from pipeline.errors import StudyError
from pipeline.study.config import parse_study
from pipeline.study.schema import study_schema
from pipeline.study.starting import FOLDER

CONFIGS = Path(__file__).parents[2] / "configs"
FILES = sorted({*CONFIGS.glob("*.toml"), *FOLDER.glob("*.toml")} - {*CONFIGS.glob("claims-*.toml")})
SCHEMA = study_schema()
VALIDATOR = Draft202012Validator(SCHEMA)


def test_it_is_a_schema_of_its_draft():
    Draft202012Validator.check_schema(SCHEMA)
    assert SCHEMA["$schema"] == Draft202012Validator.META_SCHEMA["$id"]


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.stem)
def test_every_shipped_study_file_follows_it(path: Path):
    assert not list(VALIDATOR.iter_errors(tomllib.loads(path.read_text(encoding="utf-8"))))


MISTAKES: dict[str, Callable[[dict[str, Any]], object]] = {
    "unknown key": lambda study: study.update(defects={}),
    "no title": lambda study: study.pop("title"),
    "out of range": lambda study: study["defect"].update(gap_mm=300.0),
    "text for a number": lambda study: study["defect"].update(gap_mm="3"),
    "unknown word": lambda study: study["mesh"].update(level="very fine"),
    "unknown kind": lambda study: study["loads"][0].update(kind="push"),
    "key of another kind": lambda study: study["loads"][1].update(force_n=3.0),
    "no construct": lambda study: study.update(constructs=[]),
    "another format": lambda study: study.update(schema_version=2),
}


@pytest.mark.parametrize("mistake", MISTAKES)
def test_a_mistake_is_refused_by_schema_and_program_alike(mistake: str, demo: dict[str, Any]):
    assert VALIDATOR.is_valid(demo)
    MISTAKES[mistake](demo)
    assert not VALIDATOR.is_valid(demo)
    with pytest.raises(StudyError):
        parse_study(demo, "demo")


def described(key: dict[str, Any]) -> bool:
    """Whether a key says what it is, or the table that it stands for does."""
    table = SCHEMA["$defs"].get(key.get("$ref", "").rpartition("/")[2], {})
    return bool(key.get("description") or table.get("description"))


def test_every_key_says_what_it_is():
    tables = {"study": SCHEMA, **SCHEMA["$defs"]}
    keys = {
        f"{name}.{key}": one
        for name, table in tables.items()
        for key, one in table["properties"].items()
    }
    assert len(keys) > 150
    assert not [key for key, one in keys.items() if not described(one)]


def test_the_command_writes_what_it_shows(tmp_path: Path):
    out = tmp_path / "gapstrain.schema.json"
    shown = CliRunner().invoke(cli.app, ["schema"])
    written = CliRunner().invoke(cli.app, ["schema", "--out", str(out)])
    assert shown.exit_code == written.exit_code == 0
    assert json.loads(shown.output) == json.loads(out.read_text(encoding="utf-8")) == SCHEMA
