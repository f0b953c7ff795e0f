"""The part of the page that answers by itself: reduced models, and what stands beside their values."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Annotated, Any, Literal

from pydantic import BaseModel, Field, ValidationError

from geometries.errors import StudyError
from geometries.materials import TISSUES
from pipeline.measures.exploring import LIVE, SHARE, TISSUE
from pipeline.output.graphs import COLOURS
from pipeline.output.report.charts import words_of
from pipeline.output.report.run import ReportedRun

CHOICES = (
    "gap_movement/far", "gap_movement/near", "gap_movement/centre", "gap_axial_movement/far",
    "gap_shear_movement/far", "interfragmentary_strain/far", "interfragmentary_strain/centre",
    "rim_strain/closing", f"{SHARE}/{TISSUE}",
)  # fmt: skip

Size = Annotated[float, Field(allow_inf_nan=False)]


class _Colours(BaseModel):
    """Bytes of the cells that follow the controls."""

    cells: str
    values: str
    rows: str


class _Construct(BaseModel):
    """What is read here of a construct; the page reads the rest."""

    name: str
    fields: dict[Literal["stress", "strain"], _Colours] = {}
    mesh_error: dict[str, list[tuple[Size, Size]]]


class _Told(BaseModel):
    """What is read here of ``live.json``."""

    stage: str
    load: str
    widest_deg: Size
    limits: dict[str, tuple[Size, Size]]
    units: dict[str, str]
    constructs: list[_Construct] = Field(min_length=1)


def live_of(run: ReportedRun) -> dict[str, Any] | None:
    """What the page asks its models for, with the words and the solved values beside it; None without.

    Returns
    -------
    dict or None
        What ``live.json`` has, and: `labels` of the quantities, the one `shown` first, `colours`,
        `ladder` with name and modulus, MPa, of tissues that bear, and of each construct what was
        `solved` at the study's own inputs.

    Raises
    ------
    StudyError
        If it is not as a run writes it.
    """
    path = run.out / LIVE
    if not path.is_file():
        return None
    told = _read(path)
    asked = run.study.asked
    known = set(told["constructs"][0]["mesh_error"])
    keys = list(dict.fromkeys([f"{asked.quantity}/{asked.location}", *CHOICES]))
    keys = [key for key in keys if key in known]
    if not keys:
        raise StudyError(f"{path}: has nothing that a page shows; give the file as a run wrote it")
    for one in told["constructs"]:
        found = {
            key: run.found(quantity, location, told["stage"], told["load"], one["name"])
            for key in keys
            for quantity, _, location in [key.partition("/")]
        }
        one["solved"] = {
            key: entry.result.number for key, entry in found.items()
            if entry is not None and entry.result.number is not None
        }  # fmt: skip
    low, high = told["limits"]["tissue_modulus_mpa"]
    return told | {
        "labels": {key: _label(key) for key in keys},
        "shown": keys[0],
        "colours": list(COLOURS),
        "ladder": [
            (name.replace("_", " "), tissue.modulus)
            for name, tissue in sorted(TISSUES.items(), key=lambda one: one[1].modulus)
            if low <= tissue.modulus <= high
        ],
    }


def _read(path: Path) -> dict[str, Any]:
    """Contents of ``live.json``, of which what is read here is looked at."""
    try:
        told: dict[str, Any] = json.loads(path.read_text(encoding="utf-8"))
        seen = _Told.model_validate(told)
    except ValidationError as error:
        first = error.errors()[0]
        key = ".".join(map(str, first["loc"]))[:80]
        raise StudyError(f"{path}: {key}: {first['msg']}; give the file as a run wrote it") from None
    except (OSError, ValueError, RecursionError) as error:
        raise StudyError(
            f"{path}: can not be read ({error}); give the file as a run wrote it"
        ) from None
    quantities = {key.partition("/")[0] for key in seen.constructs[0].mesh_error}
    lacking = sorted((quantities - set(seen.units)) | ({"tissue_modulus_mpa"} - set(seen.limits)))
    if lacking:
        raise StudyError(
            f"{path}: says nothing of {lacking[0][:80]!r}; give the file as a run wrote it"
        )
    return told


def _label(key: str) -> str:
    quantity, _, location = key.partition("/")
    if quantity == SHARE:
        return "share of the force along the shaft that the tissue carries through the gap"
    return f"{words_of(quantity)}, {location}"
