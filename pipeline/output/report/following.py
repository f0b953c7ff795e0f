"""Colours that follow the controls of a page: which cells its surfaces show, and their bytes alone."""

from __future__ import annotations

from base64 import b64decode, b64encode
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from geometries.errors import StudyError
from pipeline.measures.exploring import LIVE
from pipeline.output.shells import NEAR, Near

Live = dict[str, Any]
Field = dict[str, str]
NUMBERS = 5  # of a cell, for each of what its colours are made of


def cells_of(live: Live | None) -> dict[str, Near]:
    """Numbers of the cells that have colours, by construct and field.

    Raises
    ------
    StudyError
        If they are not as a run writes them.
    """
    constructs = live["constructs"] if live else []
    return {one["name"]: {key: _cells(one, key) for key in one.get("fields", {})} for one in constructs}


def shown_of(live: Live | None, name: str, shells: Sequence[Mapping[str, Any]]) -> dict[str, Field]:
    """Colours of those cells of a construct alone that its surfaces show, by field."""
    told: Live = next((one for one in (live["constructs"] if live else ()) if one["name"] == name), {})
    found = {}
    for key, one in told.get("fields", {}).items():
        near = [shell[NEAR] for shell in shells if shell["shows"] == key and shell[NEAR]]
        cells = _cells(told, key)
        kept = np.isin(cells, np.concatenate([_numbers(text, "<u4") for text in near] or [cells[:0]]))
        if kept.any():
            values = _numbers(one["values"], "i1").reshape(len(cells), -1)
            bare = {"cells": _text(cells[kept], "<i4"), "values": _text(values[kept], "i1")}
            found[key] = one | bare
    return found


def without_colours(live: Live | None) -> Live | None:
    """What a page asks its models for, without the colours, which its surfaces have."""
    if live is None:
        return None
    constructs = [{key: one[key] for key in one if key != "fields"} for one in live["constructs"]]
    return live | {"constructs": constructs}


def _cells(told: Live, key: str) -> NDArray[Any]:
    """Numbers of cells, of which each must have its values."""
    one = told["fields"][key]
    try:
        cells, values = _numbers(one["cells"], "<i4"), _numbers(one["values"], "i1")
        if len(cells) and not len(values) % (NUMBERS * len(cells)):
            return cells
    except ValueError:
        pass
    raise StudyError(
        f"{LIVE}: colours of {told['name'][:80]!r} are not whole; give the file as a run wrote it"
    )


def _numbers(text: str, kind: str) -> NDArray[Any]:
    return np.frombuffer(b64decode(text, validate=True), kind)


def _text(values: NDArray[Any], kind: str) -> str:
    return b64encode(values.astype(kind).tobytes()).decode()
