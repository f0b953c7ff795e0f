"""The command line: the only package that prints and exits."""

from __future__ import annotations

import sys

from rich.console import Console

from geometries.errors import StudyError
from pipeline.cli.application import app
from pipeline.cli.console import plain
from pipeline.errors import StoppedError

INTERRUPTED = 130  # as shells say of a command that Ctrl-C ended


def main() -> None:
    """Run the command; any fault is one sentence and exit code 2."""
    try:
        app()
    except StoppedError as error:
        _fail(str(error), INTERRUPTED)
    except StudyError as error:
        _fail(str(error))
    except OSError as error:
        _fail(f"{error.filename or 'disk'}: {error.strerror}; free disk space or choose another --out")


def _fail(message: str, code: int = 2) -> None:
    Console(stderr=True).print(plain(message), markup=False, highlight=False, soft_wrap=True)
    sys.exit(code)
