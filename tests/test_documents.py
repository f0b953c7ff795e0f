"""The pages for readers: short where promised; true in links, paths, commands, examples, columns."""

from __future__ import annotations

import ast
import re
import tomllib
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from geometries.materials import TISSUES
from pipeline.cli.application import COMMANDS, command
from pipeline.measures.exploring import (
    ASKED_COLUMNS,
    ASSUMPTION_COLUMNS,
    ROBUSTNESS_COLUMNS,
    ROBUSTNESS_MAP_COLUMNS,
    TAKEOVER_COLUMNS,
)
from pipeline.run.curves import RUN_CURVE_COLUMNS
from pipeline.sharing.claims import Claim, load_claims
from pipeline.sharing.compare import DIFFERENCE_COLUMNS
from pipeline.storage.casebook import INDEX_COLUMNS
from pipeline.study.config import parse_study
from pipeline.sweeps.sensitivity import SENSITIVITY_COLUMNS
from pipeline.tables.brackets import BRACKET_COLUMNS
from pipeline.tables.comparisons import COMPARISON_COLUMNS
from pipeline.tables.judged import CLAIM_COLUMNS
from pipeline.tables.measured import PUBLISHED_COLUMNS
from pipeline.tables.rows import COLUMNS as RESULT_COLUMNS
from pipeline.tables.shaft import SHAFT_COLUMNS
from pipeline.verification.suite import COLUMNS as VERIFICATION_COLUMNS

ROOT = Path(__file__).parents[1]
README = ROOT / "README.md"
ROOMS = [ROOT / room / "README.md" for room in ("configs", "pipeline", "geometries", "tests")]
PAGES = {path.relative_to(ROOT).as_posix(): path.read_text(encoding="utf-8")
         for path in (README, *ROOMS)}  # fmt: skip
LINES, WORDS = 150, 1100
BLOCK = re.compile(r"^```(\w*)\n(.*?)^```$", re.MULTILINE | re.DOTALL)
LINK = re.compile(r"\]\(([^)\s]+)\)")
OURS = re.compile(r"(?<![\w./-])(?:pipeline|geometries|configs|tests|\.ci|\.assets|\.github)/[\w./*-]*")
TABLES = {  # headings of pipeline/README.md, and the columns that stand below them
    "`results.csv`": RESULT_COLUMNS,
    "`comparisons.csv`": COMPARISON_COLUMNS,
    "`brackets.csv`": BRACKET_COLUMNS,
    "`curves.csv`": RUN_CURVE_COLUMNS,
    "`published.csv`": PUBLISHED_COLUMNS,
    "`shaft.csv`": SHAFT_COLUMNS,
    "`design.csv` and `sensitivity.csv`": SENSITIVITY_COLUMNS,
    "`robustness.csv`, `robustness_maps.csv`, `takeover.csv`, `assumptions.csv`, `asked.csv`": (
        *ROBUSTNESS_COLUMNS,
        *ROBUSTNESS_MAP_COLUMNS,
        *TAKEOVER_COLUMNS,
        *ASSUMPTION_COLUMNS,
        *ASKED_COLUMNS,
    ),
    "`cases.csv` and `dictionary.csv`": INDEX_COLUMNS,
    "`verification.csv`": VERIFICATION_COLUMNS,
    "Pass a study on": (*DIFFERENCE_COLUMNS, *CLAIM_COLUMNS),
}


def _blocks(*languages: str) -> Iterator[tuple[str, str]]:
    """Fenced blocks of some languages, each with its page."""
    for page, text in PAGES.items():
        yield from ((page, found[2]) for found in BLOCK.finditer(text) if found[1] in languages)


def _headings(text: str) -> dict[str, str]:
    """What stands below each heading, up to the next one; a comment in a block is none."""
    plain = BLOCK.sub(lambda found: found[0].replace("\n#", "\n "), text)
    pieces = re.split(r"^#+ (.+)$", plain, flags=re.MULTILINE)
    return dict(zip(pieces[1::2], pieces[2::2], strict=True))


def _anchor(heading: str) -> str:
    return re.sub(r"[^\w\- ]", "", heading.lower()).replace(" ", "-")


def test_the_readme_is_one_page():
    text = PAGES["README.md"]
    assert len(text.splitlines()) <= LINES
    assert len(text.split()) <= WORDS


def test_the_readme_leads_to_every_other_page():
    targets = set(LINK.findall(PAGES["README.md"]))
    assert {path.relative_to(ROOT).as_posix() for path in ROOMS} <= targets


@pytest.mark.parametrize("page", PAGES)
def test_every_link_leads_somewhere(page: str):
    for link in LINK.findall(PAGES[page]):
        name, _, anchor = link.partition("#")
        target = ((ROOT / page).parent / name).resolve() if name else ROOT / page
        assert target.is_relative_to(ROOT), link
        assert target.exists(), link
        if anchor:
            text = PAGES[target.relative_to(ROOT).as_posix()]
            assert anchor in map(_anchor, _headings(text)), link


@pytest.mark.parametrize("page", PAGES)
def test_every_path_of_the_repository_is_there(page: str):
    named = {name.rstrip(".") for name in OURS.findall(PAGES[page])}
    assert not [name for name in named if not list(ROOT.glob(name))]


def test_every_study_file_stands_in_the_table():
    rows = set(re.findall(r"^\| `([\w-]+\.toml)` \|", PAGES["configs/README.md"], re.MULTILINE))
    assert rows == {path.name for path in (ROOT / "configs").glob("*.toml")}


def _commands() -> Iterator[tuple[str, str]]:
    for page, block in _blocks(""):
        for line in block.splitlines():
            found = re.match(r"(?:\.venv/bin/)?gapstrain (\w.*)", line)
            if found:
                yield page, found[1].partition(" #")[0]


@pytest.mark.parametrize(("page", "line"), _commands())
def test_every_command_and_its_options_exist(page: str, line: str):
    name, *words = line.split()
    assert name in COMMANDS, page
    options = {option for param in command(name).params for option in param.opts}
    assert {word for word in words if word.startswith("--")} <= options


def test_every_target_of_make_exists():
    targets = set(re.findall(r"^([a-z-]+):", (ROOT / "Makefile").read_text(), re.MULTILINE))
    for page, block in _blocks(""):
        assert set(re.findall(r"^make ([a-z-]+)", block, re.MULTILINE)) <= targets, page


@pytest.mark.parametrize(("page", "text"), _blocks("toml"))
def test_every_example_can_be_read(page: str, text: str, demo: dict[str, Any], tmp_path: Path):
    """A whole study, or a part that fits the demo, or claims."""
    found = tomllib.loads(text)
    if "claims" in found:
        path = tmp_path / "claims.toml"
        path.write_text(text, encoding="utf-8")
        assert load_claims(path)
    else:
        assert parse_study(found if "title" in found else demo | found, page)


@pytest.mark.parametrize(("page", "text"), _blocks("python"))
def test_every_program_is_python(page: str, text: str):
    assert ast.parse(text, filename=page).body


@pytest.mark.parametrize("heading", TABLES)
def test_every_column_is_explained_below_its_table(heading: str):
    below = _headings(PAGES["pipeline/README.md"])[heading]
    named = set(re.findall(r"`(\w+)`", below))
    assert not [column for column in TABLES[heading] if column not in named]


def test_every_key_of_a_claim_is_explained():
    below = _headings(PAGES["pipeline/README.md"])["Pass a study on"]
    keys = {field.alias or name for name, field in Claim.model_fields.items()}
    assert keys <= set(re.findall(r"`(\w+)`", below))


def test_the_built_in_stages_are_those_of_the_model():
    rows = re.findall(r"^\| `(\w+)` \| (\d+)?.*? \| (?:([\d.]+)|–) \|$", PAGES["configs/README.md"],
                      re.MULTILINE)  # fmt: skip
    listed = {name: (float(modulus or 0), float(poisson or 0)) for name, modulus, poisson in rows}
    assert listed == {name: (one.modulus, one.poisson) for name, one in TISSUES.items()}
