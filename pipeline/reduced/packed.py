"""Frozen data as plain arrays and a text that says how they belong together, and back.

Nothing that is read is ever run: only the classes that are named here are made.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import fields, is_dataclass
from pathlib import Path
from typing import Any

import numpy as np

from geometries.errors import StudyError
from geometries.materials import Strength
from geometries.stops import Line, Round, Spot, Stop
from pipeline.arrays import read_arrays
from pipeline.fem.contact.rules import Rules
from pipeline.fem.tetrahedra import Tetrahedra
from pipeline.measures.bone import Sleeve, Zone
from pipeline.measures.cells import ShearedCells
from pipeline.measures.factored import Factored, FactoredField
from pipeline.measures.implants import DeformedImplant
from pipeline.measures.motion import Motion
from pipeline.reduced.model import Reduced
from pipeline.reduced.ranges import Ranges
from pipeline.reduced.readout import Layered, LayeredBody, LayeredSection, Readout
from pipeline.reduced.terms import Group, Terms
from pipeline.reduced.twin import Twin

KNOWN = {
    one.__name__: one
    for one in (
        DeformedImplant, Factored, FactoredField, Group, Layered, LayeredBody, LayeredSection, Line,
        Motion, Ranges, Readout, Reduced, Round, Rules, ShearedCells, Sleeve, Spot, Stop, Strength,
        Terms, Tetrahedra, Twin, Zone,
    )
}  # fmt: skip
FORM, TEXT = "form", "utf-8"
ARRAY, CLASS, TUPLE, TABLE = "array", "class", "tuple", "table"


def pack(path: Path, address: str, content: Any) -> None:
    """Write frozen data to a file, with the address of the case that it belongs to."""
    arrays: dict[str, Any] = {}
    form = json.dumps({"address": address, "content": _flat(content, arrays)})
    arrays[FORM] = np.frombuffer(form.encode(TEXT), np.uint8)
    np.savez(path, allow_pickle=False, **arrays)


def unpack(path: Path, address: str) -> Any:
    """Read frozen data back.

    Raises
    ------
    StudyError
        If it is not there, is not as it was written, or belongs to another case.
    """
    try:
        stored = read_arrays(path)
        form = json.loads(stored[FORM].tobytes().decode(TEXT))
        if form["address"] == address:
            return _whole(form["content"], stored)
        other = str(form["address"])[:16]
    except (OSError, ValueError, KeyError, TypeError, RecursionError) as error:
        raise StudyError(
            f"{path}: no reduced model can be read from it ({str(error)[:200]}); run the study again"
        ) from None
    raise StudyError(
        f"{path}: is the reduced model of case {other!r}, allowed that of {address}; run the study "
        "again"
    )


def _flat(value: Any, arrays: dict[str, Any]) -> Any:
    """What JSON can hold of a value; its arrays go beside."""
    if isinstance(value, np.ndarray):
        name = f"a{len(arrays)}"
        arrays[name] = value
        return {ARRAY: name}
    if is_dataclass(value) and type(value).__name__ in KNOWN:
        own = {one.name: _flat(getattr(value, one.name), arrays) for one in fields(value)}
        return {CLASS: type(value).__name__, "fields": own}
    if isinstance(value, tuple):
        return {TUPLE: [_flat(one, arrays) for one in value]}
    if isinstance(value, dict):
        return {TABLE: [[key, _flat(one, arrays)] for key, one in value.items()]}
    if value is None or isinstance(value, bool | int | float | str):
        return value
    raise TypeError(f"{type(value).__name__} can not be stored; report this study file")


def _whole(form: Any, stored: Mapping[str, Any]) -> Any:
    """A value from what JSON held of it."""
    if not isinstance(form, dict):
        return form
    if ARRAY in form:
        return stored[form[ARRAY]]
    if TUPLE in form:
        return tuple(_whole(one, stored) for one in form[TUPLE])
    if TABLE in form:
        return {key: _whole(one, stored) for key, one in form[TABLE]}
    own = {name: _whole(one, stored) for name, one in form["fields"].items()}
    return KNOWN[form[CLASS]](**own)
