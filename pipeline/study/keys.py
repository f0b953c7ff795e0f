"""Dotted keys of a study file, as ``--set`` and the factors of a design take them.

An entry of a list stands there by its number, counted from 0, or by its ``name``.
"""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from difflib import get_close_matches
from typing import Any

from pydantic import BaseModel

from geometries.errors import StudyError
from pipeline.study.implants import BY_NAME, KEYS

Steps = tuple[str | int, ...]


def set_at(data: dict[str, Any], key: str, value: object) -> None:
    """Change one dotted key of a study file's contents; tables that are not there yet are made.

    Raises
    ------
    StudyError
        If the key leads through an entry that is not there.
    """
    *parents, last = key.split(".")
    node: Any = data
    for name in parents:
        if isinstance(node, dict) and node.get(name) is None and not name.isdigit():
            node[name] = {}
        if isinstance(node, dict) and name in KEYS and isinstance(node.get(name), str):
            node[name] = {BY_NAME: node[name]}  # a value of a construct's own, over the implant's
        node = node[_place(node, name)]
    node[_place(node, last, new=True)] = value


def assignment(key: str, value: object) -> str:
    """A key and its value as ``--set`` takes them: numbers, words and lists of TOML are those of JSON.

    Raises
    ------
    StudyError
        If TOML has no such value.
    """
    plain = getattr(value, "tolist", lambda: value)()  # NumPy's numbers and arrays as Python's own
    try:
        if isinstance(plain, Mapping):
            raise TypeError
        return f"{key}={json.dumps(plain, ensure_ascii=False, allow_nan=False)}"
    except (TypeError, ValueError):
        raise StudyError(
            f"{key} = {value!r}: allowed are numbers, words, truth values and lists of them; correct it"
        ) from None


def _place(node: Any, name: str, new: bool = False) -> str | int:
    """Key or position of an entry of a table or a list."""
    if isinstance(node, dict) and (new or name in node):
        return name
    position = _position(node, name) if isinstance(node, list) else None
    if position is None:
        raise StudyError(f"{name!r} is not there; name a key of the study file")
    return position


def locate(study: BaseModel, key: str) -> tuple[Steps, object]:
    """Find what a dotted key stands for in a validated study, or in a part of one.

    Found are the key step by step, entries of lists by position, so that two ways to write it are one;
    and its value, with defaults.

    Raises
    ------
    StudyError
        If there is no such key.
    """
    node: Any = study
    steps: list[str | int] = []
    for name in key.split("."):
        step = _step(node, name)
        node = node[step] if isinstance(step, int) else getattr(node, step)
        steps.append(step)
    return tuple(steps), node


def _step(node: Any, name: str) -> str | int:
    fields = type(node).model_fields if isinstance(node, BaseModel) else {}
    position = _position(node, name) if isinstance(node, tuple) else None
    if position is not None:
        return position
    if name in fields:
        return name
    if node is None:
        raise StudyError(f"the study file has no table for {name!r}; give the table there first")
    names = [one.name for one in node if hasattr(one, "name")] if isinstance(node, tuple) else fields
    near = ", ".join(get_close_matches(name, names, 3, 0.0))
    offer = f"; the nearest allowed are {near}: correct it" if near else "; shorten the key"
    raise StudyError(f"{name!r} is not there{offer}")


def _position(entries: Sequence[Any], name: str) -> int | None:
    """Position of a list's entry by number or by name; None where there is none."""
    if name.isascii() and name.isdigit() and len(name) < 9:
        return int(name) if int(name) < len(entries) else None
    named = [
        one.get("name") if isinstance(one, dict) else getattr(one, "name", None) for one in entries
    ]
    return named.index(name) if name in named else None
