"""The list of faults: what each changes, and which tests must see it.

Every file in ``faults/`` is an area of the program. A fault there has a ``name`` in words, the ``file``
it is made in, the text ``before``, which occurs there once, the text ``after`` that takes its place,
and ``seen_by``: test files by their stems, wherever they lie, or ``stem::test`` where a whole file
would take long.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache
from pathlib import Path

ROOT = Path(__file__).parents[2]
LISTS = Path(__file__).parent / "faults"


@dataclass(frozen=True)
class Fault:
    """A change such as a person makes by mistake.

    Parameters
    ----------
    area : str
        Part of the program.
    name : str
        What is wrong, in words; unique.
    file : str
        Path of the file below the root.
    before, after : str
        Text that is replaced, and what by.
    seen_by : tuple of str
        Tests that are expected to see it.
    """

    area: str
    name: str
    file: str
    before: str
    after: str
    seen_by: tuple[str, ...]

    def put_into(self, text: str) -> str:
        """The file's text with the fault in it.

        Raises
        ------
        ValueError
            If the text to replace is not there exactly once.
        """
        count = text.count(self.before)
        if count != 1:
            raise ValueError(f"{self.name!r}: before occurs {count} times in {self.file}; allowed 1")
        return text.replace(self.before, self.after)


def faults() -> Iterator[Fault]:
    """All faults, area by area."""
    for path in sorted(LISTS.glob("*.toml")):
        for entry in tomllib.loads(path.read_text(encoding="utf-8"))["faults"]:
            seen_by = tuple(entry.pop("seen_by"))
            yield Fault(area=path.stem, seen_by=seen_by, **entry)


def places(test: str, root: Path = ROOT) -> list[str]:
    """What pytest is given for a test of the list: files, or single tests in them.

    Raises
    ------
    ValueError
        If there is no such test.
    """
    stem, _, name = test.partition("::")
    there = [path for path in _files(root) if path.stem == stem]
    if name:
        there = [path for path in there if re.search(rf"^def {name}\(", path.read_text(), re.MULTILINE)]
    if not there:
        raise ValueError(f"seen_by = {test!r}: no such test below {root / 'tests'}; name another")
    end = f"::{name}" if name else ""
    return [path.relative_to(root).as_posix() + end for path in there]


@cache
def _files(root: Path) -> list[Path]:
    return sorted((root / "tests").rglob("test_*.py"))
