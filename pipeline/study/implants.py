"""Implants that a study file names once, in ``[implants.NAME]``, and uses in several constructs.

``nail = "NAME"`` takes one as it is, ``nail = { implant = "NAME", length_mm = 340.0 }`` with other
values of some keys.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any, get_args

from geometries.constructs import Construct
from geometries.errors import StudyError
from geometries.parameters import Implant

TABLE, BY_NAME = "implants", "implant"
KEYS = frozenset(
    key
    for kind in get_args(get_args(Construct)[0])
    for key, field in kind.model_fields.items()
    if isinstance(field.annotation, type) and issubclass(field.annotation, Implant)
)
"""Keys of constructs that hold an implant."""
Steps = list[str | int]


def with_implants(data: Mapping[str, Any], place: str) -> dict[str, Any]:
    """A study file's contents with every named implant where it is used, and without their own table.

    Raises
    ------
    StudyError
        If a name is that of no implant, or an implant is used nowhere: a line for each.
    """
    entries = data.get("constructs")
    listed = entries if isinstance(entries, list) else []
    known = data.get(TABLE, {})
    findings = list(_unfit(known, listed))
    if findings:
        raise StudyError("\n".join(f"{place}: {one}" for one in findings))
    whole = {key: value for key, value in data.items() if key != TABLE}
    if known:
        whole["constructs"] = [_whole(entry, known) for entry in listed]
        whole |= _moved(data)
    return whole


def _unfit(known: Any, constructs: list[Any]) -> Iterator[str]:
    """Say what is wrong with the implants by name and with the names that constructs take."""
    if not isinstance(known, dict):
        yield f"{TABLE}: allowed is a table; correct it"
        return
    used = set()
    for number, entry in enumerate(constructs):
        for key, name in _references(entry).items():
            used.add(name)
            if name not in known:
                allowed = f"allowed {', '.join(map(repr, known))}: correct it, or give a table"
                yield (
                    f"{_whose(entry, number)}: {key} = {name!r} names no implant; "
                    f"{allowed if known else f'there is no [{TABLE}.NAME]: give a table'}"
                )
    for name, one in known.items():
        shown = f"{TABLE}.{name if name.isprintable() else repr(name)}"
        if not isinstance(one, dict):
            yield f"{shown}: allowed is a table of an implant's keys; correct it"
        elif name not in used:
            yield f"{shown}: no construct uses it; name it in one, as in nail = {name!r}, or remove it"


def _whole(entry: Any, known: Mapping[str, Any]) -> Any:
    """A construct with the implants that it takes by name."""
    whole = entry
    for key, name in _references(entry).items():
        own = entry[key] if isinstance(entry[key], dict) else {}
        whole = whole | {key: _over(known[name], {k: v for k, v in own.items() if k != BY_NAME})}
    return whole


def _moved(data: Mapping[str, Any]) -> dict[str, Any]:
    """The design, its factors that move a key of an implant by name moving those of the constructs."""
    design = data.get("design")
    factors = design.get("factors") if isinstance(design, dict) else None
    if not isinstance(design, dict) or not isinstance(factors, list):
        return {}
    return {"design": design | {"factors": [_spread(factor, data) for factor in factors]}}


def _spread(factor: Any, data: Mapping[str, Any]) -> Any:
    """A factor with the constructs' keys in place of an implant's; as it is if it has none."""
    written = factor.get("key") if isinstance(factor, dict) else None
    table, *steps = written.split(".") if isinstance(written, str) else [""]
    if table != TABLE or len(steps) < 2:
        return factor
    name, *rest = steps
    keys = [
        ".".join(("constructs", str(number), key, *rest))
        for number, entry in enumerate(data["constructs"])
        for key, taken in _references(entry).items()
        if taken == name and origin(["constructs", number, key, *rest], data)[0] == TABLE
    ]
    also = factor.get("also", [])
    if not keys or not isinstance(also, list):
        return factor
    return {"label": written, **factor, "key": keys[0], "also": [*keys[1:], *also]}


def origin(steps: Steps, data: Any) -> Steps:
    """Where the file has a key: that of a construct's implant may be one of an implant by name."""
    if len(steps) < 3 or steps[0] != "constructs" or not isinstance(steps[1], int):
        return steps
    _, number, key, *rest = steps
    entry = data["constructs"][number]
    name = _references(entry).get(str(key))
    if name is None:
        return steps
    own: Any = entry[key]
    if isinstance(own, str):
        return [TABLE, name, *rest]
    for step in rest:  # down to where the construct itself gives another value
        if not isinstance(own, dict) or step not in own:
            return [TABLE, name, *rest]
        own = own[step]
    return steps


def _references(entry: Any) -> dict[str, str]:
    """Names of implants that a construct takes, by its keys."""
    found = {}
    for key, one in entry.items() if isinstance(entry, dict) else ():
        name = one.get(BY_NAME) if isinstance(one, dict) else one
        if key in KEYS and isinstance(name, str):
            found[key] = name
    return found


def _over(base: Any, own: Mapping[str, Any]) -> dict[str, Any]:
    """A table with the values of another over its own, tables in it likewise."""
    merged = dict(base)
    for key, value in own.items():
        below = merged.get(key)
        is_both = isinstance(value, dict) and isinstance(below, Mapping)
        merged[key] = _over(below, value) if is_both else value
    return merged


def _whose(entry: Mapping[str, Any], number: int) -> str:
    name = entry.get("name")
    return f"construct {name!r}" if isinstance(name, str) else f"constructs.{number}"
