"""Mutations: odd values in the place of good ones, tables pulled apart, bytes changed."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator, Sequence
from copy import deepcopy
from dataclasses import dataclass
from typing import Any, TypeVar

import numpy as np

T = TypeVar("T")
Steps = tuple[str | int, ...]
LONG, HUGE = 100_000, 10_000_000  # letters; the second one seldom
SELDOM = 0.004
MOST_CHANGES = 4


@dataclass(frozen=True)
class Raw:
    """A value as it stands in a file, which no Python value is written like."""

    text: str

    def __repr__(self) -> str:
        return self.text


def nested(depth: int) -> Raw:
    """Lists in lists."""
    return Raw("[" * depth + "]" * depth)


WORDS = (
    "", " ", "\n", "\x00", "\x1b[2J\x1b]0;mine\x07", "\u202egnp.exe", "\u200b", "\r\nok", "\x9b31m",
    "../../escaped", "/etc/hostname", "..\\escaped", "a/b", ".", "-", "con", "[/bold]", "[red]x",
    "$\\frac{1}{0}$", "\\input{/etc/hostname}", "=HYPERLINK(1)", "@SUM(A1)", "</script><script>x",
    "<img src=x onerror=x>", "{0.__class__}", "{missing}", "%s%n", "1,5", "nan", "true", "é" * 300,
    "\U0010ffff", "\ud800", "1e5", "0", "titanium", "a" * 5000, "a" * LONG,
)  # fmt: skip
VALUES: tuple[Any, ...] = (
    *map(Raw, ("9" * 400, "-" + "9" * 400, "9" * 5000, "0x" + "f" * 400, "0x" + "f" * 6000, "1e400")),
    *map(Raw, ("inf", "-inf", "nan", "1979-05-27", "07:32:00", "1979-05-27T07:32:00Z", "1e-320")),
    *map(nested, (3, 60, 300, 5000)),
    Raw("{a = " * 90 + "1" + "}" * 90), Raw("[{name = 1}, {name = 1}]"),
    Raw("'''\n" + "x\n" * 3000 + "'''"),
    0, -1, 1, 2, -0.0, 0.1, 1e6, 1e300, 2**31, 2**63, 2**64, True, False, [], {}, [0] * 3000, [[]],
    ["a", 1], [True], {"name": "x"}, {"": ""}, *WORDS,
)  # fmt: skip


class Mutator:
    """Changes by a seed: the same ones for the same seed.

    Parameters
    ----------
    seed : int or sequence of int
        Of the random numbers.
    """

    def __init__(self, seed: int | Sequence[int]) -> None:
        self.random = np.random.default_rng(seed)

    def one_of(self, options: Sequence[T]) -> T:
        return options[int(self.random.integers(len(options)))]

    def value(self) -> Any:
        return "a" * HUGE if self.random.random() < SELDOM else self.one_of(VALUES)

    def word(self) -> str:
        return "a" * HUGE if self.random.random() < SELDOM else self.one_of(WORDS)

    def table(self, data: dict[str, Any]) -> dict[str, Any]:
        """A copy of some nested tables and lists with up to a few changes."""
        changed = deepcopy(data)
        for _ in range(min(MOST_CHANGES, int(self.random.geometric(0.6)))):
            self._change(changed)
        return changed

    def _change(self, data: dict[str, Any]) -> None:
        steps = self.one_of([*_paths(data)])
        node: Any = data
        for step in steps[:-1]:
            node = node[step]
        last: Any = steps[-1]
        changes: list[Callable[[], Any]] = [
            lambda: node.__setitem__(last, self.value()),
            lambda: node.__setitem__(last, self.value()),
            lambda: node.__setitem__(last, [node[last]] * int(self.random.integers(0, 4))),
            lambda: node.__setitem__(last, _scaled(node[last], self.one_of((-1, 0, 10, 1e3, 1e12)))),
            *[lambda: node.__setitem__(last, _scaled(node[last], float(self.random.uniform(0.3, 2.0))))]
            * 4,
            lambda: node.pop(last),
            lambda: self._add(node),
        ]
        self.one_of(changes)()

    def _add(self, node: Any) -> None:
        """An entry more: an odd one, or one that is there already."""
        if isinstance(node, list):
            node.append(self.one_of([self.value(), deepcopy(self.one_of(node))]))
        elif node and self.random.random() < 0.5:
            node[self.word()] = node.pop(self.one_of([*node]))
        else:
            node[self.word()] = self.value()

    def data(self, content: bytes) -> bytes:
        """Bytes with up to a few changes."""
        for _ in range(int(self.random.integers(1, MOST_CHANGES + 1))):
            at, end = sorted(self.random.integers(0, len(content) + 1, 2).tolist())
            end = min(end, at + 200)
            odd = self.word().encode("utf-8", "surrogatepass")
            content = self.one_of((
                content[:at] + self.random.bytes(4) + content[at + 4 :],
                content[:at] + odd + content[at:], content[:at] + odd + content[end:],
                content[:at] + content[end:], content[:end] + content[at:], content[:at],
                content[:at] + bytes(2000) + content[at:], content[:at] + b"\xff\xfe" + content[at:],
                content.replace(b"\n", b"\r\n"), content.replace(b",", b";"),
            ))  # fmt: skip
        return content

    def flipped(self, content: bytes) -> bytes:
        """Bytes of which one has another value."""
        at, by = int(self.random.integers(len(content))), int(self.random.integers(1, 256))
        return content[:at] + bytes([content[at] ^ by]) + content[at + 1 :]

    def lines(self, text: str) -> str:
        """A table of which a cell, a line or a column is another."""
        rows = [line.split(",") for line in text.split("\n")]
        row = self.one_of(rows)
        place = int(self.random.integers(len(row)))
        changes: list[Callable[[], Any]] = [
            lambda: row.__setitem__(place, f'"{self.word()}"'),
            lambda: row.__setitem__(
                place, self.one_of(("nan", "inf", "-1e999", "1e308", "x", "", "-0"))
            ),
            lambda: row.append("more"),
            lambda: row.pop(place),
            lambda: [one.pop(place) for one in rows if len(one) > place],
            lambda: rows.extend([row] * 500),
            lambda: rows.clear(),
            lambda: rows[0].__setitem__(-1, self.word()),
        ]
        self.one_of(changes)()
        return "\n".join(",".join(one) for one in rows)


def _paths(data: Any, before: Steps = ()) -> Iterator[Steps]:
    """All ways into nested tables and lists."""
    entries = data.items() if isinstance(data, dict) else enumerate(data)
    for step, value in entries:
        yield (*before, step)
        if isinstance(value, dict | list) and len(before) < 8:
            yield from _paths(value, (*before, step))


def _scaled(value: Any, by: float) -> Any:
    """A number some times as large; a list's likewise."""
    if isinstance(value, list):
        return [_scaled(one, by) for one in value]
    return value * by if isinstance(value, int | float) else value


def as_toml(data: dict[str, Any]) -> str:
    """Tables as a TOML file, each key a line."""
    return "".join(f"{_toml_key(key)} = {_toml(value)}\n" for key, value in data.items())


def _toml(value: Any) -> str:
    if isinstance(value, dict):
        return "{" + ", ".join(f"{_toml_key(key)} = {_toml(one)}" for key, one in value.items()) + "}"
    if isinstance(value, list | tuple):
        return "[" + ", ".join(map(_toml, value)) + "]"
    if isinstance(value, str):
        return json.dumps(value, ensure_ascii=False)
    return str(value).lower() if isinstance(value, bool) else repr(value)


def _toml_key(key: str) -> str:
    return json.dumps(key, ensure_ascii=False)


def as_json(data: Any) -> str:
    """The same as JSON, where odd numbers stand as they are."""
    if isinstance(data, dict):
        return "{" + ", ".join(f"{json.dumps(str(k))}: {as_json(one)}" for k, one in data.items()) + "}"
    if isinstance(data, list | tuple):
        return "[" + ", ".join(map(as_json, data)) + "]"
    return repr(data) if isinstance(data, Raw) else json.dumps(data)
