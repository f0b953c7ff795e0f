"""Pages of plain HTML, made from tables that are already on disk."""

from __future__ import annotations

from itertools import groupby
from pathlib import Path

from jinja2 import Environment, PackageLoader, StrictUndefined

from pipeline.storage.files import VERIFICATION, read_table, write_text

Row = dict[str, str]
_PAGES = Environment(
    loader=PackageLoader("pipeline.output"),
    autoescape=True,
    undefined=StrictUndefined,
    trim_blocks=True,
)


def write_page(path: Path, **content: object) -> Path:
    """Fill the template of a page's name and write it; whatever is filled in comes out as text.

    Raises
    ------
    OutputError
        If it can not be written.
    """
    write_text(path, _PAGES.get_template(path.name).render(**content))
    return path


def write_framed(path: Path, title: str, caution: str, versions: str, **content: object) -> Path:
    """Write a page whose template extends ``frame.html``, with its title and two sentences to print."""
    said = {"caution_in_print": _as_css(caution), "versions": versions}
    return write_page(path, title=title, caution=caution, **said, **content)


def _as_css(text: str) -> str:
    """Text as a string of a style sheet: each of its characters by number, so that none ends it."""
    return '"' + "".join(f"\\{ord(letter):06x}" for letter in text) + '"'


def verification_page(out: Path, versions: str, caution: str) -> Path:
    """Write ``verification.html`` beside the table of all checks, with two sentences to print."""
    rows = read_table(out / VERIFICATION)
    groups = [_group(list(some)) for _, some in groupby(rows, key=lambda row: row["problem"])]
    passed = sum(row["result"] == "passed" for row in rows)
    content = {"rows": rows, "passed": passed, "failed": len(rows) - passed, "groups": groups}
    said = {"title": "Verification of gapstrain", "versions": versions, "caution": caution}
    return write_page(out / "verification.html", **said, **content)


def _group(rows: list[Row]) -> dict[str, object]:
    solved = [_shown(row) for row in rows if not row["reason"]]
    return {"title": rows[0]["title"], "reason": rows[0]["reason"], "rows": solved}


def _shown(row: Row) -> Row:
    """A row with its two numbers as a person reads them."""
    return row | {name: f"{float(row[name]):.5g}" for name in ("computed", "expected")}
