"""Runs a command and says how it ended: well, refused in a sentence, or at fault."""

from __future__ import annotations

import io
import os
import signal
import sys
import traceback
from collections.abc import Callable, Iterator
from contextlib import contextmanager, redirect_stderr, redirect_stdout
from dataclasses import dataclass
from pathlib import Path
from typing import Any
from unittest.mock import patch

from geometries.errors import StudyError
from pipeline.cli import main

MOST_SECONDS = 60
MOST_SAID = 20_000  # letters that a refusal may have
STATUS = Path("/proc/self/status")
DONE, REFUSED, FAULT = "done", "refused", "FAULT"


class TooLongError(BaseException):
    """Time is up; no handler of the program catches it."""


@dataclass(frozen=True)
class Ended:
    """How a trial ended.

    Parameters
    ----------
    how : str
        ``done``, ``refused`` or ``FAULT``.
    said : str
        What was printed, or the traceback.
    """

    how: str
    said: str


def command(*words: object) -> Ended:
    """Call a command of the program as a terminal does."""
    out = io.StringIO()
    with patch.object(sys, "argv", ["gapstrain", *map(str, words)]):
        try:
            with limited(), redirect_stdout(out), redirect_stderr(out):
                main()
        except SystemExit as error:
            return judged(error.code, out.getvalue())
        except (Exception, TooLongError):
            return Ended(FAULT, traceback.format_exc())
    return judged(0, out.getvalue())


def called(work: Callable[[], Any]) -> Ended:
    """Call a function of the program, which may refuse by its own kind of error alone."""
    try:
        with limited():
            work()
    except StudyError as error:
        return judged(2, str(error))
    except (Exception, TooLongError):
        return Ended(FAULT, traceback.format_exc())
    return Ended(DONE, "")


def judged(code: Any, said: str) -> Ended:
    """Exit codes and words that the program may end with."""
    odd = {sign for sign in said if not sign.isprintable() and sign != "\n"}
    if code not in (0, 1, 2, None):
        return Ended(FAULT, f"exit code {code}: {said}")
    if odd:
        return Ended(FAULT, f"signs {sorted(odd)} reach the terminal: {said!r}")
    if code == 2 and len(said) > MOST_SAID:
        return Ended(FAULT, f"{len(said)} letters: {said[:500]}")
    if code == 2 and not said.strip():
        return Ended(FAULT, "refused without a word")
    return Ended(REFUSED if code == 2 else DONE, said)


@contextmanager
def limited(seconds: float = MOST_SECONDS) -> Iterator[None]:
    """Raise `TooLongError` after some seconds."""

    def stop(*_: object) -> None:
        raise TooLongError(f"took longer than {seconds} s")

    before = signal.signal(signal.SIGALRM, stop)
    signal.setitimer(signal.ITIMER_REAL, seconds)
    try:
        yield
    finally:
        signal.setitimer(signal.ITIMER_REAL, 0)
        signal.signal(signal.SIGALRM, before)


def peak_mb() -> float:
    """The most memory that this process ever held."""
    lines = STATUS.read_text().splitlines()
    return next(int(line.split()[1]) for line in lines if line.startswith("VmHWM")) / 1024


def seen(folder: Path) -> dict[str, tuple[int, str]]:
    """All that lies in a folder: kind and size, and where links lead."""
    found = {}
    for root, folders, files in os.walk(folder):
        for name in (*folders, *files):
            path = Path(root) / name
            content = str(path.readlink()) if path.is_symlink() else ""
            if path.is_file() and not path.is_symlink():
                content = path.read_bytes().hex()
            found[str(path.relative_to(folder))] = (path.lstat().st_mode, content)
    return found
