"""What validation finds in a file that a person wrote, as sentences that this person can act on."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Mapping, Sequence
from datetime import date, time
from difflib import get_close_matches
from typing import Any

from pydantic import BaseModel, ValidationError

from pipeline.study.implants import origin
from pipeline.study.lines import line_of
from pipeline.study.slips import plain_key, with_a_point
from pipeline.study.units import did_you_mean, keys_at, limits_of

_TABLE, _LIST = "allowed is a table; correct it", "allowed is a list; correct it"
_REMEDIES = {
    "missing": "missing; add it",
    "finite_number": "allowed is a finite number; correct it",
    "union_tag_not_found": "the key '{discriminator}' is missing; add it",
    "union_tag_invalid": "{discriminator} = {tag} is not known; allowed {expected_tags}; correct it",
    "too_short": "{actual_length} entries; allowed {min_length} or more; add some",
    "too_long": "too many entries; allowed {max_length} or fewer; remove some",
    "model_type": _TABLE,
    "model_attributes_type": _TABLE,
    "tuple_type": _LIST,
}
_KIND_AT = {"loads": 2, "constructs": 2, "design": 1, "robustness": 3}  # by the first step
_RANGE = {"greater_than", "greater_than_equal", "less_than", "less_than_equal"}
_NUMBERS = {"float_type", "int_type"}
_ONE_OF = {"stages": "stage", "loads": "load", "constructs": "construct", "published": "published",
           "factors": "factor", "inputs": "input", "forces": "force"}  # fmt: skip
_NAME = re.compile(r"[A-Za-z0-9][\w.-]{0,79}", re.ASCII)
MOST_TOLD = 40  # findings of one file
LONGEST = 1500  # letters of a finding
MOST_READ = 400_000  # letters of a file, by findings whose line is looked for in it
Steps = list[str | int]


def findings(
    error: ValidationError, model: type[BaseModel], data: Mapping[str, Any], place: str, text: str = ""
) -> str:
    """What validation found, a line each: place, key, value, what is allowed, what to do.

    Of very many findings the first ones are told, and in a long file the lines of the first ones.

    Parameters
    ----------
    error : ValidationError
        What validation of the data raised.
    model : type
        What the data was to be.
    data : mapping
        What the file holds.
    place : str
        What opens each line: the file.
    text : str
        The file's text, if it is known: findings name the line there.
    """
    details = error.errors()
    # A list whose only entry is refused is reported as empty too; that says nothing new.
    above = {detail["loc"][:n] for detail in details for n in range(len(detail["loc"]))}
    told = [d for d in details if not (d["type"] == "too_short" and d["loc"] in above)]
    with_line = 1 + MOST_READ // (len(text) + 1)
    lines = [
        f"{_where(place, text if number < with_line else '', one, data)}: "
        f"{cut(_sentence(one, model, data))}"
        for number, one in enumerate(told[:MOST_TOLD])
    ]
    if len(told) > MOST_TOLD:
        lines.append(f"{place}: {len(told) - MOST_TOLD} findings more; correct these first")
    return "\n".join(dict.fromkeys(lines))


def cut(sentence: str) -> str:
    """A sentence without its middle where that is very long: its ends say where, and what to do."""
    return sentence if len(sentence) <= LONGEST else f"{sentence[:900]} ... {sentence[-500:]}"


def shortened(value: object) -> str:
    """A value as it stands in the file, cut where it is long."""
    text = str(value) if isinstance(value, date | time) else repr(value)
    return text if len(text) <= 60 else text[:57] + "..."


def _where(place: str, text: str, detail: Any, data: Any) -> str:
    """The file and, where it is known, the line in it."""
    number = line_of(text, _steps(detail, data), detail["input"], detail["type"] == "missing")
    return f"{place}, line {number}" if number else place


def _steps(detail: Any, data: Any) -> Steps:
    """Keys and positions that lead to a finding, without the kind, which is no key of the file.

    What an implant by name has wrong leads to that implant, wherever it is used.
    """
    steps = list(detail["loc"])
    kind_at = _KIND_AT.get(str(steps[0]) if steps else "", len(steps))
    del steps[kind_at : kind_at + 1]
    return origin(steps, data)


def _sentence(detail: Any, model: type[BaseModel], data: Mapping[str, Any]) -> str:
    """One finding: key, value, limit, remedy."""
    steps, kind, message = _steps(detail, data), detail["type"], detail["msg"]
    found = detail["input"]
    hidden = kind == "missing" or isinstance(found, dict | list | tuple)
    shown = f"{_named(steps, data)}{'' if hidden else f' = {shortened(found)}'}"
    if kind == "value_error":
        return f"{shown}: {message.removeprefix('Value error, ')}"
    if kind == "extra_forbidden":
        return f"{shown}: unknown key; {_nearest(str(steps[-1]), keys_at(model, detail['loc'][:-1]))}"
    if kind in _RANGE:
        limits = limits_of(model, detail["loc"])
        name = next(step for step in reversed(steps) if isinstance(step, str))
        return f"{shown}: allowed {limits}; {did_you_mean(name, found, limits) or 'correct it'}"
    if kind in _REMEDIES:
        context = {name: _in_words(name, value) for name, value in detail.get("ctx", {}).items()}
        return f"{shown}: {_REMEDIES[kind].format(**context)}"
    number = with_a_point(found) if isinstance(found, str) and kind in _NUMBERS else None
    if number:
        return f"{shown}: has a decimal comma; allowed is a point: write {number}"
    text = message[0].lower() + message[1:]
    return f"{shown}: {text.replace(chr(10), ' ')}; correct it"


def _nearest(key: str, known: Sequence[str]) -> str:
    """What to do about an unknown key."""
    near = get_close_matches(key, known, 1)
    if near:
        return f"did you mean {near[0]}? Correct it, or remove it"
    return f"allowed {', '.join(known)}: correct or remove it"


def _named(steps: Steps, data: Any) -> str:
    """The key in words: entries of lists by their names, where these tell them apart."""
    said = ""
    key: list[str] = []
    for at, step in enumerate(steps):
        name = _name_of(step, data)
        if name and key and steps[at + 1 :] != ["name"]:
            *outer, group = key
            said += f"{'.'.join([*outer, _ONE_OF.get(group, group)])} {name!r}: "
            key = []
        else:
            key.append(plain_key(str(step)))
        data = _inside(data, step)
    return (said + ".".join(key)).removesuffix(": ") or "study"


def _inside(data: Any, step: str | int) -> Any:
    try:
        return data[step]
    except (KeyError, IndexError, TypeError):
        return None


def _name_of(step: str | int, entries: Any) -> str | None:
    """Name of an entry of a list, if it has one that no other has."""
    if not isinstance(step, int) or not isinstance(entries, list | tuple):
        return None
    names = [one.get("name", one.get("key")) if isinstance(one, dict) else None for one in entries]
    plain = [name for name in names if isinstance(name, str) and _NAME.fullmatch(name)]
    name = names[step] if step < len(names) else None
    return name if name in plain and Counter(plain)[name] == 1 else None


def _in_words(name: str, value: object) -> str:
    """An entry of pydantic's context; of keys and kinds it has words already."""
    if name == "discriminator":
        return str(value).strip("'")
    return str(value) if name == "expected_tags" else shortened(value)
