"""What editors, commits, CI and packages are told, against the tools that are pinned here."""

from __future__ import annotations

import configparser
import os
import re
import subprocess
import sys
import tomllib
import zipfile
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
import yaml
from packaging.requirements import Requirement
from packaging.utils import canonicalize_name
from packaging.version import Version

ROOT = Path(__file__).parents[1]
PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
PINS = (ROOT / ".ci" / "requirements.txt").read_text(encoding="utf-8")
ASKED = [
    Requirement(line)
    for line in PROJECT["project"]["dependencies"] + PROJECT["project"]["optional-dependencies"]["dev"]
]
LICENCE = ".assets/GPL-3.0.txt"


def _yaml(name: str) -> dict[str, Any]:
    return yaml.safe_load((ROOT / name).read_text(encoding="utf-8"))


HOOKS = [hook for repo in _yaml(".pre-commit-config.yaml")["repos"] for hook in repo["hooks"]]


def test_hooks_are_those_of_this_project():
    assert [repo["repo"] for repo in _yaml(".pre-commit-config.yaml")["repos"]] == ["local"]


@pytest.mark.parametrize("hook", HOOKS, ids=lambda hook: hook["id"])
def test_a_hook_runs_a_pinned_tool_of_the_venv(hook: dict[str, Any]):
    folder, _, tool = hook["entry"].split()[0].rpartition("/")
    assert (hook["language"], folder) == ("system", ".venv/bin")
    assert re.search(rf"^{tool}==", PINS, re.MULTILINE)


def test_hooks_and_make_lint_ask_the_same():
    recipe = re.search(r"^lint:.*\n((?:\t.*\n)+)", (ROOT / "Makefile").read_text(), re.MULTILINE)
    asked = {line.strip().removesuffix(" .") for line in recipe[1].splitlines()}
    assert asked == {hook["entry"] for hook in HOOKS}


def test_ci_runs_what_a_submission_must_pass():
    steps = _yaml(".github/workflows/test.yml")["jobs"]["test"]["steps"]
    assert steps[0]["uses"].startswith("actions/checkout@")
    assert steps[-1]["run"] == ".ci/run"
    named = {word for step in steps for word in re.findall(r"\.ci/[\w-]+", step.get("run", ""))}
    assert all(os.access(ROOT / name, os.X_OK) for name in named)


def _pins(file: str) -> dict[str, Version]:
    text = (ROOT / ".ci" / file).read_text(encoding="utf-8")
    pinned = re.findall(r"^([\w.-]+)==(\S+)$", text, re.MULTILINE)
    assert len(pinned) == sum(not line.startswith("#") for line in text.splitlines())
    return {canonicalize_name(name): Version(version) for name, version in pinned}


@pytest.mark.parametrize("file", ["requirements.txt", "oldest.txt", "newest.txt"])
def test_every_library_is_pinned_within_its_bounds(file: str):
    pins = _pins(file)
    assert not [str(one) for one in ASKED if pins[canonicalize_name(one.name)] not in one.specifier]


def test_the_oldest_pins_are_the_lower_bounds():
    pins = _pins("oldest.txt")
    bounds = {one: [(each.operator, Version(each.version)) for each in one.specifier] for one in ASKED}
    assert not [str(one) for one in ASKED if bounds[one] != [(">=", pins[canonicalize_name(one.name)])]]


def test_the_newest_pins_are_no_older_than_the_usual_ones():
    usual, newest = _pins("requirements.txt"), _pins("newest.txt")
    assert not [name for name in usual.keys() & newest.keys() if newest[name] < usual[name]]


def test_editors_and_ruff_agree_on_the_length_of_a_line():
    editors = configparser.ConfigParser()
    editors.read_string("[top]\n" + (ROOT / ".editorconfig").read_text(encoding="utf-8"))
    assert int(editors["*.py"]["max_line_length"]) == PROJECT["tool"]["ruff"]["line-length"]
    assert editors["Makefile"]["indent_style"] == "tab"


@pytest.fixture(scope="module")
def wheel(tmp_path_factory: pytest.TempPathFactory) -> Iterator[zipfile.ZipFile]:
    folder = tmp_path_factory.mktemp("wheel")
    command = [sys.executable, "-m", "hatchling", "build", "--target", "wheel", "-d", str(folder)]
    subprocess.run(command, cwd=ROOT, check=True, capture_output=True)
    with zipfile.ZipFile(next(folder.glob("*.whl"))) as opened:
        yield opened


def test_every_wheel_brings_the_door_and_the_text_of_its_licence(wheel: zipfile.ZipFile):
    (name,) = [name for name in wheel.namelist() if name.endswith(f"licenses/{LICENCE}")]
    text = wheel.read(name)
    doors = [name for name in wheel.namelist() if name.endswith("gapstrain.py")]
    assert doors == ["gapstrain.py"]  # `import gapstrain` after installation, and no second copy of it
    assert text == (ROOT / LICENCE).read_bytes()
    assert text.split(b"\n")[1].strip() == b"Version 3, 29 June 2007"


def test_every_wheel_brings_all_that_lies_beside_the_code(wheel: zipfile.ZipFile):
    """Templates of pages and study files above all; a fault shows only where there is no checkout."""
    there = {
        path.relative_to(ROOT).as_posix()
        for room in ("pipeline", "geometries")
        for path in (ROOT / room).rglob("*")
        if path.is_file() and path.parent.name not in {"__pycache__", "door"}
    }
    assert {path.rpartition(".")[2] for path in there} >= {"py", "html", "css", "js", "toml"}
    assert not there - set(wheel.namelist())
