"""What changed between two study files, key by key, in words."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from pydantic import BaseModel

from geometries.constructs import Compared
from pipeline.study.config import StudyConfig
from pipeline.writing.implants import construct_words, gap_words
from pipeline.writing.words import amount, counted, listed, name_of, plain

Steps = tuple[str, ...]
SINGULAR = {
    "stages": "stage", "loads": "load", "constructs": "construct", "published": "published",
    "factors": "factor", "forces": "force",
}  # fmt: skip
NOTHING = "Nothing changed: both files ask for the same study."


def changed(a: StudyConfig, b: StudyConfig) -> str:
    """Say what the second study asks for that the first did not, and what it no longer asks for.

    Defaults count as if they were written out; entries of lists belong together by their names. It is
    one paragraph, a sentence for each key.
    """
    found = list(_differences(a, b, ()))
    if not found:
        return NOTHING
    return " ".join([f"{counted(len(found), 'change')}.", *found])


def _differences(a: Any, b: Any, steps: Steps) -> Iterator[str]:
    """Sentences on everything below a key that is not the same."""
    if isinstance(a, BaseModel) and isinstance(b, BaseModel):
        yield from _tables(a, b, steps)
    elif _is_list(a) or _is_list(b):
        yield from _lists(a, b, steps)
    elif isinstance(a, BaseModel) or isinstance(b, BaseModel):
        yield _gone(steps, a) if b is None else _new(steps, b)
    elif a != b:
        key = steps[-1]
        yield f"{_place(steps)}: from {_quoted(a, key)} to {_quoted(b, key)}."


def _tables(a: BaseModel, b: BaseModel, steps: Steps) -> Iterator[str]:
    """Keys of both tables, and those that only one kind of table has."""
    ours, theirs = type(a).model_fields, type(b).model_fields
    for key in dict.fromkeys((*ours, *theirs)):
        place = (*steps, key)
        if key not in theirs:
            yield _gone(place, getattr(a, key))
        elif key not in ours:
            yield _new(place, getattr(b, key))
        else:
            yield from _differences(getattr(a, key), getattr(b, key), place)


def _lists(a: Any, b: Any, steps: Steps) -> Iterator[str]:
    """Entries of two lists of tables, matched by name, and their order."""
    ours, theirs = _named(a), _named(b)
    for name, one in ours.items():
        if name in theirs:
            yield from _differences(one, theirs[name], (*steps, name))
        else:
            yield _gone((*steps, name), one)
    for name, one in theirs.items():
        if name not in ours:
            yield _new((*steps, name), one)
    if [name for name in ours if name in theirs] != [name for name in theirs if name in ours]:
        yield f"{_place(steps)}: in another order, {listed(map(plain, theirs))}."


def _is_list(value: object) -> bool:
    """Whether a value is a list of tables; a list of numbers or words is one value."""
    return isinstance(value, tuple) and any(isinstance(one, BaseModel) for one in value)


def _named(entries: Any) -> dict[str, BaseModel]:
    """Entries of a list by key or name, or by number, from 0, where they have neither."""
    named: dict[str, BaseModel] = {}
    for number, one in enumerate(entries):
        fields = type(one).model_fields
        key = next((key for key in ("key", "name") if key in fields), None)
        named[str(getattr(one, key)) if key else str(number)] = one
    return named


def _quoted(value: object, key: str) -> str:
    """A value beside another one; a text of several words in quotation marks."""
    return f'"{plain(value)}"' if isinstance(value, str) and " " in value else amount(value, key)


def _gone(steps: Steps, value: object) -> str:
    return f"{_place(steps)}: removed{_whole(value)}."


def _new(steps: Steps, value: object) -> str:
    return f"{_place(steps)}: added{_whole(value)}."


def _whole(value: Any) -> str:
    """A value in brackets: a construct in words, any other table by what is not its default."""
    if isinstance(value, Compared):
        gap = f", across a gap {gap_words(value.defect)}" if value.defect else ""
        return f" ({construct_words(value)}{gap})"
    if isinstance(value, BaseModel):
        given = value.model_dump(exclude_defaults=True, exclude={"name", "key"})
        return f" ({_table(given)})" if given else ""
    return f" ({amount(value)})"


def _table(given: dict[str, Any]) -> str:
    return listed(f"{name_of(key)} {_inner(value, key)}" for key, value in given.items())


def _inner(value: Any, key: str) -> str:
    """A value within a table that is told whole."""
    if isinstance(value, dict):
        return f"({_table(value)})"
    if isinstance(value, tuple | list) and any(isinstance(one, dict) for one in value):
        return f"({'; '.join(_table(one) for one in value)})"
    return amount(value, key)


def _place(steps: Steps) -> str:
    """Where a key stands, for the opening of a sentence."""
    words: list[str] = []
    before = ""
    for step in steps:
        if before in SINGULAR:
            words[-1] = f"{SINGULAR[before]} {plain(step)}"
        else:
            words.append(name_of(step))
        before = step
    text = ", ".join(words)
    return text[0].upper() + text[1:]
