"""The command that draws a study without running it."""

from __future__ import annotations

from pathlib import Path

from geometries.assembly import assemble
from pipeline.cli.console import say, say_whole
from pipeline.cli.options import Changes, Out, StudyFile
from pipeline.loading.statics import actions
from pipeline.output.drawing import draw_construct
from pipeline.run.planning import plan
from pipeline.storage.caution import CAUTION
from pipeline.storage.files import check_writable
from pipeline.study.config import load_study


def draw(
    study: StudyFile,
    out: Out = None,
    changes: Changes = None,
) -> None:
    """Draw every construct to scale from two sides, as SVG and PNG, without solving anything."""
    config = load_study(study, tuple(changes or ()))
    folder = (out or Path("results") / study.stem) / "drawings"
    check_writable(folder)
    _, shown = config.shown
    load = next(load for load in config.loads if load.name == shown)
    for item in plan(config).first:
        case = item.case
        geometry = assemble(case.construct, case.femur, case.own_defect)
        acting = actions(load, case.femur, float(geometry.top[2])) if case.has_site else ()
        subtitle = f"{case.construct.interfaces} · load {load.name}"
        arrows = [(one.name, one.point, one.force) for one in acting if one.force.any()]
        for path in draw_construct(geometry, case.name, subtitle, arrows, folder):
            say_whole(f"{path}")
    say(CAUTION)
