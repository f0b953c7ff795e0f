"""Small parts of sentences: lists, numbers with units, sources with numbers."""

from __future__ import annotations

from collections.abc import Iterable

from pipeline.study.units import MISTAKEN

UNITS = {ending: unit for ending, (unit, _) in MISTAKEN.items() if ending.startswith("_")}


def listed(words: Iterable[str]) -> str:
    """Words with commas, and "and" before the last."""
    *first, last = [*words] or ["none"]
    return f"{', '.join(first)} and {last}" if first else last


def plain(text: str) -> str:
    """A text of a study file as part of a line: single spaces, nothing that steers a terminal."""
    return " ".join("".join(c if c.isprintable() else " " for c in text).split())


def counted(number: int, noun: str) -> str:
    """A number and what there is of it; more than one takes an s."""
    return f"{number} {noun}{'' if number == 1 else 's'}"


def number(value: float) -> str:
    """A number in up to seven digits, a power of ten without a leading zero."""
    return f"{value:.7g}".replace("e-0", "e-").replace("e+0", "e+")


def amount(value: object, key: str = "") -> str:
    """A value as a reader expects it, in the unit that its key ends with."""
    if value is None:
        return "none"
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, tuple | list):
        return listed(map(amount, value)) + _unit(key) if value else "none"
    if isinstance(value, int | float):
        return f"{number(value)}{_unit(key)}"
    return plain(str(value))


def name_of(key: str) -> str:
    """A key without its unit, as words."""
    ending = next((one for one in UNITS if key.endswith(one)), "")
    return key.removesuffix(ending).replace("_", " ")


def _unit(key: str) -> str:
    return next((unit for ending, unit in UNITS.items() if key.endswith(ending)), "")


class Sources:
    """Sources in the order in which they are first named, each with a number."""

    def __init__(self) -> None:
        self._found: list[str] = []

    def cite(self, *texts: str) -> str:
        """Numbers of sources in brackets, with a space before; new ones join the list."""
        self._found += [text for text in dict.fromkeys(texts) if text not in self._found]
        numbers = sorted({self._found.index(text) + 1 for text in texts})
        return f" [{', '.join(map(str, numbers))}]" if numbers else ""

    def __str__(self) -> str:
        return "\n".join(f"[{number}] {text}" for number, text in enumerate(self._found, 1))
