"""Figures of a study: one of each construct, and an overview of them all side by side.

Both fields have one colour range for the whole study, so that pictures may be compared.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from math import ceil
from pathlib import Path

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from geometries.frame import Vector
from pipeline.output import panels, scene
from pipeline.output.bearing import places
from pipeline.output.model import STRAIN, STRESS, Array, Model, read_model, read_values
from pipeline.output.panels import MUTED
from pipeline.output.scene import COLOURS, INK, Camera, Scale, View
from pipeline.storage.caution import CAUTION_SHORT

STRESS_LOOK = ("viridis", "#f0563a", "von Mises stress in the implants, MPa")
STRAIN_LOOK = ("plasma", "#35c4cf", "octahedral shear strain of the tissue, %")
FAILED = "not solved\nat this stage"
ZOOM_MM = 60.0
SHARE_PERCENT = 99.0
IN_A_ROW = 7
OVERVIEW_PX = 1800


@dataclass(frozen=True)
class Sheet:
    """All views of a construct, None where there is nothing to see, and what is written beside them.

    Of the gap that is its middle and length, mm; `roles` are those to explain in the legend; `bearing`
    is where surfaces bear on each other, as points of the femur.
    """

    title: str
    subtitle: str
    roles: tuple[str, ...]
    gap: tuple[float, float]
    failed: bool
    whole: View
    near: View | None
    stress: View | None
    strain: View | None
    bearing: tuple[Vector, ...]


@dataclass(frozen=True)
class Subject:
    """What all pictures of a study show: tissue stage, load and the two colour ranges."""

    stage: str
    load: str
    stress: Scale
    strain: Scale

    def __str__(self) -> str:
        return f"tissue stage: {self.stage}  ·  load: {self.load}"


def draw_study(out: Path, names: Sequence[str], stage: str, load: str) -> list[Path]:
    """Draw ``figures/NAME.png`` of each construct and ``figures/overview.png``.

    The overview leaves out constructs without implants. Where the stage could not be solved, pictures
    show the parts and say so.

    Parameters
    ----------
    out : Path
        Folder of the study, with the finished cases.
    names : sequence of str
        Constructs to draw, in the order of the overview.
    stage, load : str
        Tissue stage and load to show; an intact bone has only its own stage.

    Returns
    -------
    list of Path
        The pictures, the overview last.

    Raises
    ------
    OutputError
        If a case has no such fields, or a picture can not be written.
    """
    if not names:
        return []
    values = [read_values(out, name, stage, load) for name in names]
    looks = ((STRESS, STRESS_LOOK), (STRAIN, STRAIN_LOOK))
    scales = (Scale(field, shared_top(one[field] for one in values), *look) for field, look in looks)
    subject = Subject(stage, load, *scales)
    paths: list[Path] = []
    sheets: list[Sheet] = []
    for name in names:
        model = read_model(out, name, stage, load)
        sheet = _sheet(model, subject, tuple(places(out, name, model, load)))
        paths.append(panels.save(_construct(sheet, subject), out / "figures" / f"{name}.png"))
        if sheet.stress is not None or sheet.failed:
            sheets.append(replace(sheet, near=None, strain=None))
    if not sheets:
        return paths
    return [*paths, panels.save(_overview(sheets, subject), out / "figures" / "overview.png")]


def shared_top(values: Iterable[Array]) -> float:
    """Upper end of a field's colour range: 99th percentile over the cells of all constructs.

    A field that is nowhere, or zero, gets 1.
    """
    every = np.concatenate([np.empty(0), *values])
    top = float(np.percentile(every, SHARE_PERCENT)) if every.size else 0.0
    return top if top > 0 else 1.0


def _sheet(model: Model, subject: Subject, bearing: tuple[Vector, ...]) -> Sheet:
    middle, reach = model.gap[0], model.reach
    half, summary, solved = model.height / 2, model.summary, not model.failed
    whole = Camera((0.0, 0.0, half), reach, half + 4)
    radius = summary["gap"]["radius_mm"] if summary["gap"] else reach - 13
    near = Camera((0.0, 0.0, middle), radius + 13, ZOOM_MM)
    oblique = Camera((0.0, 0.0, middle - 3), radius + 24, radius + 14, 45.0, 45.0)
    words = [summary["kind"].replace("_plate", " and plate").replace("_", " ")]
    if model.gap[1]:
        words.append(f"{summary['site']} gap of {model.gap[1]:g} mm")
    return Sheet(
        summary["name"],
        "  ·  ".join(words),
        tuple(model.solids),
        model.gap,
        model.failed,
        scene.cutaway(model, whole),
        scene.cutaway(model, near),
        scene.loaded_implants(model, whole, subject.stress) if solved and model.implants else None,
        scene.strained_gap(model, oblique, subject.strain) if model.has_tissue else None,
        bearing,
    )


def _construct(sheet: Sheet, subject: Subject) -> Figure:
    figure = Figure(figsize=(13, 9.4), dpi=140)
    grid = figure.add_gridspec(
        2, 4, width_ratios=(1.25, 4, 1.25, 4.2), height_ratios=(1, 0.72),
        left=0.06, right=0.98, top=0.83, bottom=0.13, wspace=0.16, hspace=0.1,
    )  # fmt: skip
    whole, near, stress = (figure.add_subplot(grid[:, k]) for k in range(3))
    strain, key = (figure.add_subplot(grid[k, 3]) for k in range(2))
    strain.set_anchor("N")
    shown = subject if sheet.gap[1] else f"load: {subject.load}"
    figure.text(0.03, 0.955, sheet.title, fontsize=21, weight="bold", color=INK)
    figure.text(0.03, 0.922, f"{sheet.subtitle}  ·  {shown}", fontsize=12, color=MUTED)
    _fill(sheet, whole, near, stress)
    panels.heading(strain, "Tissue strain, from above")
    nothing = "no tissue in this stage" if sheet.gap[1] else "no gap"
    panels.show(strain, sheet.strain, FAILED if sheet.failed else nothing)
    panels.compass(strain, sheet.strain)
    _key(figure, key, sheet.roles, subject)
    figure.text(0.03, 0.022, CAUTION_SHORT, fontsize=8, color=MUTED)
    return figure


def _fill(sheet: Sheet, whole: Axes, near: Axes, stress: Axes) -> None:
    """Draw the three views from the front."""
    panels.heading(whole, "Whole bone")
    panels.show(whole, sheet.whole)
    panels.ruler(whole, sheet.whole, (sheet.gap[0] - ZOOM_MM, sheet.gap[0] + ZOOM_MM))
    panels.heading(near, "Round the gap" if sheet.gap[1] else "Enlarged")
    panels.show(near, sheet.near)
    panels.scale_bar(near, 20)
    if sheet.gap[1]:
        near.text(
            near.get_xlim()[0] + 2, sheet.gap[0], f"gap\n{sheet.gap[1]:g} mm", fontsize=10,
            weight="bold", color=COLOURS["gap"], ha="center", va="center",
        )  # fmt: skip
    panels.heading(stress, "Implant stress")
    panels.show(stress, sheet.stress, FAILED if sheet.failed else "no implant")
    for axes in (whole, near, *([stress] if sheet.stress else [])):
        panels.name_sides(axes)


def _key(figure: Figure, axes: Axes, roles: Sequence[str], subject: Subject) -> None:
    """Both colour bars and the legend of parts."""
    axes.set_axis_off()
    panels.colour_bar(figure, axes.inset_axes((0.08, 0.86, 0.84, 0.06)), subject.strain)
    panels.colour_bar(figure, axes.inset_axes((0.08, 0.54, 0.84, 0.06)), subject.stress)
    axes.legend(
        handles=panels.part_patches(roles), loc="lower center", bbox_to_anchor=(0.5, -0.1), ncols=2,
        frameon=False, fontsize=11, handlelength=1.4, handleheight=1.1,
    )  # fmt: skip


def _overview(sheets: Sequence[Sheet], subject: Subject) -> Figure:
    """Cut-away and stressed implants of all constructs, one legend, one colour bar."""
    columns = min(len(sheets), IN_A_ROW)
    rows = ceil(len(sheets) / columns)
    size = max(2.1 * columns, 8.6), 6.1 * rows + 1.7
    figure = Figure(figsize=size, dpi=round(OVERVIEW_PX / size[0]))
    grid = figure.add_gridspec(
        rows, columns, left=0.03, right=0.99, wspace=0.08, hspace=0.16,
        top=1 - 0.95 / size[1], bottom=1.42 / size[1],
    )  # fmt: skip
    for number, sheet in enumerate(sheets):
        pair = grid[divmod(number, columns)].subgridspec(1, 2, wspace=0.02)
        parts, stress = (figure.add_subplot(pair[k]) for k in range(2))
        _pair(sheet, parts, stress)
        if number == 0:
            panels.name_sides(parts)
            panels.scale_bar(parts, 50)
    roles = {role for sheet in sheets for role in sheet.roles}
    marks = [panels.bearing_mark()] if any(sheet.bearing for sheet in sheets) else []
    figure.legend(
        handles=[*panels.part_patches(roles), *marks], loc="lower left", ncols=3, frameon=False,
        bbox_to_anchor=(0.02, 0.3 / size[1]), fontsize=9.5, columnspacing=1.2, handlelength=1.4,
        handleheight=1.1,
    )  # fmt: skip
    place = figure.add_axes((0.66, 0.72 / size[1], 0.31, 0.14 / size[1]))
    panels.colour_bar(figure, place, subject.stress)
    figure.text(0.02, 1 - 0.25 / size[1], str(subject), fontsize=10, color=MUTED)
    figure.text(0.02, 0.1 / size[1], CAUTION_SHORT, fontsize=8, color=MUTED)
    return figure


def _pair(sheet: Sheet, parts: Axes, stress: Axes) -> None:
    """Two views of a construct under its name."""
    parts.set_anchor("E")
    stress.set_anchor("W")
    panels.heading(parts, sheet.title, 1.01, 18)
    panels.show(parts, sheet.whole)
    panels.mark_bearing(parts, sheet.whole, sheet.bearing)
    panels.show(stress, sheet.stress, FAILED if sheet.failed else "no implant")
