"""Files that are no TOML: which slip of the keyboard made them so."""

from __future__ import annotations

import re
import tomllib
from typing import Any

from geometries.errors import StudyError

_LINE = re.compile(r"at line (\d+)")
_COMMA = re.compile(r"(?:^|[=\s{\[])(?P<key>[\w.-]+)\s*=\s*(?P<number>[-+]?\d+,\d+)(?!\S*[\d\"'])")
_DECIMAL = re.compile(r"\s*([-+]?\d+),(\d+)\s*")
_QUOTED = re.compile(r"\"(?:\\.|[^\"\\])*\"|'[^']*'")
_BARE = re.compile(r"(?P<key>[\w.-]+)\s*=\s*(?P<word>[A-Za-z][^,}#\n]*)")
_KNOWN = ("true", "false", "inf", "nan")


def read_toml(text: str, place: str) -> dict[str, Any]:
    """Contents of a TOML file.

    Raises
    ------
    StudyError
        If it is none: the line, what is wrong there, what to do.
    """
    try:
        return tomllib.loads(text)
    except (ValueError, RecursionError) as error:
        found = _LINE.search(str(error))
        number = int(found[1]) if found else 0
        said = _slip(text.split("\n")[number - 1]) if number else None
        if said:
            raise StudyError(f"{place}, line {number}: {said}") from None
        raise StudyError(f"{place}: not valid TOML: {error}; correct that line") from None


def with_a_point(text: str) -> str | None:
    """A number that was written with a decimal comma, with a point; None where it is no such number."""
    found = _DECIMAL.fullmatch(text)
    return f"{found[1]}.{found[2]}" if found else None


def _slip(line: str) -> str | None:
    """What is wrong with a line, and what to do; None where no known slip is seen."""
    plain = _QUOTED.sub(lambda found: "_" * len(found[0]), line)
    code = line[: plain.find("#")] if "#" in plain else line
    plain = plain[: len(code)]
    if '"' in plain or "'" in plain:
        return (
            f"{code.strip()[:60]} has a quote that opens and none that closes; allowed are words "
            "between two quotes: add the missing one"
        )
    comma = _COMMA.search(plain)
    if comma:
        number = comma["number"]
        return (
            f"{comma['key']} = {number} has a decimal comma; allowed is a point: write "
            f"{with_a_point(number)}"
        )
    for bare in _BARE.finditer(plain):
        word = bare["word"].strip()
        if word.lower() in _KNOWN and word not in _KNOWN:
            return (
                f"{bare['key']} = {word} is no value; allowed are small letters: write {word.lower()}"
            )
        if word not in _KNOWN:
            return (
                f"{bare['key']} = {word[:60]} is a word without quotes; allowed are words between two "
                f'quotes: write "{word[:60]}"'
            )
    return None
