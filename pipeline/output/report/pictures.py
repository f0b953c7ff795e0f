"""Figures of the run, small enough to stand in the page, with words made from data."""

from __future__ import annotations

from base64 import b64encode
from collections.abc import Mapping
from dataclasses import dataclass
from io import BytesIO
from pathlib import Path
from typing import Any

from PIL import Image, UnidentifiedImageError

from geometries.solids import IMPLANT_ROLES
from pipeline.output.bearing import HEIGHT
from pipeline.output.report.run import ReportedRun
from pipeline.storage.casebook import why_lost

FOLDER = "figures"
WIDEST_PX, QUALITY = 1300, 82
MOST = 12  # constructs with a picture of their own
RINGS = " Open rings mark where surfaces bear on each other."


@dataclass(frozen=True)
class Picture:
    """A picture in the page: its title, what it shows in words, its bytes as an address."""

    title: str
    words: str
    source: str


def pictures(run: ReportedRun) -> tuple[Picture | None, list[Picture]]:
    """The overview, and constructs of the shown variant; what can not be read is left out."""
    stage, load = run.study.shown
    names = [name for name in run.constructs if name in run.records]
    drawn = [name for name in names if _is_in_overview(run.records[name], stage, load)]
    overview = (
        f"{len(drawn)} constructs side by side, each cut open to show its parts and beside it the "
        f"stress in its implants, at stage {stage} under load {load}: {', '.join(drawn)}."
        f"{RINGS if _is_marked(run) else ''}"
    )
    found = _readable(run, [("overview", "All constructs", overview)])
    own = _readable(run, [(name, name, _words(run, name)) for name in names[:MOST]])
    return next(iter(found), None), own


def _is_marked(run: ReportedRun) -> bool:
    """Whether surfaces bear on each other anywhere in the overview."""
    return any(
        entry["quantity"] == HEIGHT and not entry["location"].startswith("bolt")
        and (entry["stage"], entry["load"]) == run.study.shown
        for entry in run.first
    )  # fmt: skip


def _is_in_overview(record: Mapping[str, Any], stage: str, load: str) -> bool:
    """Whether a construct has implants, or could not be solved: others have nothing to show there."""
    roles = {part["role"] for part in record["parts"]}
    return bool(roles & set(IMPLANT_ROLES)) or bool(why_lost(record, stage, load))


def indices(run: ReportedRun) -> list[Picture]:
    """Figures of sensitivity, if there are any."""
    factors = ", ".join(dict.fromkeys(entry["label"] for entry in run.sensitivity))
    listed = [
        (f"sensitivity-{name}", f"Sensitivity of {name}",
         f"How the results of {name} follow from {factors}; sensitivity.csv has the numbers.")
        for name in dict.fromkeys(entry["construct"] for entry in run.sensitivity)
    ]  # fmt: skip
    return _readable(run, listed)[:MOST]


def _readable(run: ReportedRun, listed: list[tuple[str, str, str]]) -> list[Picture]:
    """Pictures of some files, titles and words."""
    found = (Picture(title, words, _embedded(run.out / FOLDER, file)) for file, title, words in listed)
    return [picture for picture in found if picture.source]


def _words(run: ReportedRun, name: str) -> str:
    record = run.records[name]
    stage, load = run.study.shown
    roles = dict.fromkeys(str(part["role"]) for part in record["parts"])
    kind = str(record["kind"]).replace("_plate", " and plate").replace("_", " ")
    return (
        f"{name}, {kind}, {run.places([name])[name]}: cut open whole and round the gap, stress in the "
        f"implants, strain of the tissue, at stage {stage} under load {load}. "
        f"Parts: {', '.join(roles)}."
    )


def _embedded(folder: Path, file: str) -> str:
    """A picture as a data address, no wider than needed; empty if it can not be read."""
    path = folder / f"{file}.png"
    if path.parent.resolve() != folder.resolve():  # a name of someone else's table may lead elsewhere
        return ""
    try:
        with Image.open(path, formats=("PNG",)) as picture:
            small = BytesIO()
            plain = picture.convert("RGB")
            plain.thumbnail((WIDEST_PX, WIDEST_PX))
            plain.save(small, "WEBP", quality=QUALITY)
    except (OSError, UnidentifiedImageError, Image.DecompressionBombError):
        return ""
    return "data:image/webp;base64," + b64encode(small.getvalue()).decode("ascii")
