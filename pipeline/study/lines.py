"""Lines of a TOML file, which its reader does not tell: where a key stands."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Sequence
from itertools import islice
from typing import Any

MOST_READ = 500_000  # letters, in search of the end of one long statement
Steps = Sequence[str | int]


def line_of(text: str, steps: Steps, value: object, is_missing: bool = False) -> int | None:
    """Line of a file where a key stands, counted from 1.

    Parameters
    ----------
    text : str
        The file's text.
    steps : sequence of str or int
        The key step by step.
    value : object
        What was found there; another value in the file was changed since, so no line is to blame.
    is_missing : bool
        Whether the key is not there; then the line is that of the table which lacks it.

    Returns
    -------
    int or None
        None where no line can be told.

    Notes
    -----
    What is read from the file's first lines alone has a key from that line on where its statement
    ends; lines within a statement of several can not be read alone.
    """
    steps = steps[:-1] if is_missing else steps
    if not text or not steps or (not is_missing and repr(_at(_read(text), steps)) != repr(value)):
        return None
    lines = text.splitlines(keepends=True)
    without, upto = 0, len(lines)
    if not _has("".join(lines), steps):
        return None
    while upto - without > 1:
        middle = (without + upto) // 2
        at = _readable(lines, range(middle, without, -1))
        if at is None:  # the middle lies in the first statement
            at = _readable(lines, range(middle + 1, upto))
        if at is None:
            break
        if _has("".join(lines[:at]), steps):
            upto = at
        else:
            without = at
    return _within(lines, without, upto, steps)


def _within(lines: Sequence[str], without: int, upto: int, steps: Steps) -> int:
    """Of a statement's lines the one that has the key, if but one has; else its first."""
    key = next((step for step in reversed(steps) if isinstance(step, str)), "")
    sign = re.compile(rf"(?<![\w-])[\"']?{re.escape(key)}[\"']?\s*=")
    having = [number for number in range(without, upto) if sign.search(lines[number])]
    return (having[0] if len(having) == 1 else without) + 1


class _Nothing:
    """What is where nothing is."""


def _at(data: Any, steps: Steps) -> object:
    for step in steps:
        try:
            data = data[step]
        except (KeyError, IndexError, TypeError):
            return _Nothing
    return data


def _has(text: str, steps: Steps) -> bool:
    return _at(_read(text), steps) is not _Nothing


def _readable(lines: Sequence[str], numbers: range) -> int | None:
    """The first of some numbers of lines that can be read alone."""
    tries = 5 + MOST_READ // (sum(map(len, lines)) + 1)
    return next((n for n in islice(numbers, tries) if _read("".join(lines[:n])) is not None), None)


def _read(text: str) -> dict[str, Any] | None:
    """Contents of a file's first lines; None where they end within a statement."""
    try:
        return tomllib.loads(text)
    except (ValueError, RecursionError):
        return None
