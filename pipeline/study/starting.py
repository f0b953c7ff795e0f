"""Study files to start from: one for each question, with six marked places to change."""

from __future__ import annotations

import re
from pathlib import Path
from textwrap import fill

from geometries.errors import StudyError
from pipeline.errors import OutputError

FOLDER = Path(__file__).parent / "templates"
STAND_IN = "STUDY.toml"  # what the comments of a template call the file that is written
CAUTIONED = "# CAUTION\n"  # the line of a template in whose place the caution is written
WIDEST = 104  # characters of a line
NAME = re.compile(r"[A-Za-z0-9][A-Za-z0-9_-]{0,59}\Z")


def questions() -> dict[str, str]:
    """Key of each question, and the question itself: the first comment of its template."""
    return {path.stem: _question(path) for path in sorted(FOLDER.glob("*.toml"))}


def start(question: str, name: str, out: Path | None = None, *, caution: str) -> Path:
    """Write a commented study file for the key of a question; nothing there is ever overwritten.

    By default the file has the study's name with ``.toml``, in the current folder. The caution stands
    in its comments.

    Raises
    ------
    StudyError
        If question or name is not allowed.
    OutputError
        If the file is there already, or can not be written.
    """
    known = questions()
    if question not in known:
        raise StudyError(f"--question {question}: allowed {', '.join(known)}; choose one of them")
    path = out or Path(f"{_checked(name)}.toml")
    if path.suffix != ".toml":
        raise StudyError(f"{path}: is no name of a study file; allowed is one that ends with .toml")
    _checked(path.stem)
    template = (FOLDER / f"{question}.toml").read_text(encoding="utf-8")
    said = fill(caution, WIDEST, initial_indent="# ", subsequent_indent="# ")
    text = template.replace(STAND_IN, path.name).replace(CAUTIONED, f"{said}\n")
    try:
        with path.open("x", encoding="utf-8") as file:
            file.write(text)
    except FileExistsError:
        raise OutputError(f"{path}: is there already; choose another name or --out") from None
    except OSError as error:
        raise OutputError(
            f"{path}: can not be written ({error.strerror}); choose another --out"
        ) from None
    return path


def _question(path: Path) -> str:
    return path.read_text(encoding="utf-8").partition("\n")[0].removeprefix("# ")


def _checked(name: str) -> str:
    """A name that is a file's name on every system, and a word in a shell."""
    if not NAME.match(name):
        raise StudyError(
            f"{name!r} can not name a study; allowed letters, digits, - and _, 60 at most: choose "
            "another"
        )
    return name
