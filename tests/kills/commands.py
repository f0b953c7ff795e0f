"""Commands that a person types, and what their folders hold once they have ended."""

from __future__ import annotations

import resource
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

from pipeline.storage.casebook import CASES, INDEX
from pipeline.storage.files import read_table

ROOT = Path(__file__).parents[2]
OTHER_TABLES = ("results.parquet", "live.json")


def arguments(study: Path, out: Path, *words: str, program: str = "pipeline") -> list[str]:
    """The command that runs a study."""
    run = ["run", str(study), "--out", str(out), "--workers", "2", "--quiet", *words]
    return [sys.executable, "-m", program, *run]


def command(study: Path, out: Path, *words: str, **limits: int) -> subprocess.CompletedProcess[str]:
    """Run a study as a person does, with limits of the system."""

    def limit() -> None:
        for name, value in limits.items():
            resource.setrlimit(getattr(resource, name), (value, value))

    return subprocess.run(
        arguments(study, out, *words), cwd=ROOT, capture_output=True, text=True, check=False,
        preexec_fn=limit,
    )  # fmt: skip


def tables(out: Path) -> Iterator[str]:
    """Names of all tables of a run, those of its other mesh levels too."""
    for path in out.rglob("*"):
        name = path.relative_to(out)
        if CASES not in name.parts and (path.suffix == ".csv" or path.name in OTHER_TABLES):
            yield str(name)


def different(out: Path, sound: Path) -> list[str]:
    """Tables that are not, byte for byte, those of another run; but for the seconds that cases took."""
    both = sorted({*tables(out), *tables(sound)})
    return [name for name in both if content(out / name) != content(sound / name)]


def content(table: Path) -> object:
    """What a table holds; None if it is not there."""
    if not table.is_file():
        return None
    if table.name == INDEX:
        return [{**row, "seconds": ""} for row in read_table(table)]
    return table.read_bytes()


def leftovers(out: Path) -> list[str]:
    """Whatever a run that has ended must not leave."""
    return [path.name for path in out.rglob(".*") if path.name != ".lock"]
