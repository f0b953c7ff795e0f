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
DEEPEST = 30  # tables and lists inside each other; a study file has seven
DIGITS = 300  # of a whole number; what has more is larger than any other number


def read_toml(text: str, place: str) -> dict[str, Any]:
    """Contents of a TOML file.

    Raises
    ------
    StudyError
        If it is none: the line, what is wrong there, what to do.
    """
    try:
        data = tomllib.loads(text)
    except (ValueError, RecursionError) as error:
        if "integer string" in str(error):  # Python's own limit, which names no line
            raise StudyError(
                f"{place}: not valid TOML: a whole number of thousands of digits; allowed are {DIGITS} "
                "or fewer: correct it"
            ) from None
        found = _LINE.search(str(error))
        number = int(found[1]) if found else 0
        said = _slip(text.split("\n")[number - 1]) if number else None
        if said:
            raise StudyError(f"{place}, line {number}: {said}") from None
        raise StudyError(f"{place}: not valid TOML: {error}; correct that line") from None
    return fit(data, place)


def fit(data: dict[str, Any], place: str) -> dict[str, Any]:
    """The same contents of a file, none of it too large to be worked with or told.

    Raises
    ------
    StudyError
        If tables and lists lie too deep in each other, or a whole number has too many digits.
    """
    waiting: list[tuple[str, Any, int]] = [(str(key), value, 1) for key, value in data.items()]
    while waiting:
        key, value, depth = waiting.pop()
        if isinstance(value, dict | list):
            if depth > DEEPEST:
                raise StudyError(
                    f"{place}: {plain_key(key)}: more than {DEEPEST} tables or lists in each other; "
                    "allowed are fewer: correct it"
                )
            inner = value.values() if isinstance(value, dict) else value
            waiting += [(key, one, depth + 1) for one in inner]
        elif isinstance(value, int) and abs(value) >= 10**DIGITS:
            raise StudyError(
                f"{place}: {plain_key(key)}: a whole number of more than {DIGITS} digits; allowed are "
                "fewer: correct it"
            )
    return data


def plain_key(key: str) -> str:
    """A key as a message has it: short, and no sign of it but letters and their like."""
    short = key if len(key) <= 60 else key[:57] + "..."
    return short if short and short.isprintable() else repr(short)


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
