"""What the terminal shows of a plan: constructs, loads, the design, what the run will take."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from geometries.bone import Femur
from geometries.constructs import Specimen
from geometries.defect import gap_centre
from geometries.facts import in_words
from geometries.rigidity import rigidities
from pipeline.cli.console import counted, say, say_first, short
from pipeline.cli.wide import say_table
from pipeline.loading.statics import actions, section_load
from pipeline.measures.literature import SIX_FEMORA, SIX_FEMORA_SOURCE
from pipeline.run.forecast import LEAST_S, PATIENCE
from pipeline.run.planning import Plan, Planned
from pipeline.run.unlikely import too_few, unlikely
from pipeline.run.watch import spoken
from pipeline.study.config import StudyConfig

WORDS = {
    "nail_clearance_at_gap_mm": "nail clearance, between the surfaces of nail and canal",
    "canal_fit_mm": "canal fit, the length over which the canal is no wider than its reaming",
    "bolt_to_gap_mm": "bolt to gap, from a bone end to the bolt next to it",
    "bow_mismatch_mm": "bow mismatch, by which the nail's arc is flatter than the bone's",
    "plate_working_length_mm": "working length, between the screws on either side of the gap; of a "
    "bonded plate the gap's",
    "screw_density": "screw density, screws over holes",
}
"""What a fact of a construct is, for who has not met the word."""
ACTS = ("force N", "at mm", "moment N·m")
LISTED = "design.csv of the run"
THROUGH = ("N", "V N", "M N·m", "T N·m")


def print_plan(config: StudyConfig, planned: Plan, minutes: float | None = None) -> None:
    """Print constructs, loads and what the run will solve; of a design its first variant whole."""
    headings = ("construct", "interfaces", "site", "gap mm", "to know before the run")
    rows = []
    for item in planned.first:
        case = item.case
        defect = case.own_defect
        where = (defect.site, f"{defect.gap_mm:g}") if case.has_site else ("", "")
        rows.append((case.name, case.construct.interfaces, *where, _known(item)))
    say_table(config.title, headings, rows, ("gap mm",))
    facts = {name for item in planned.first for name in item.facts}
    said = [words for name, words in WORDS.items() if name in facts]
    if said:
        say(f"{'; '.join(said)}.")
    for item in planned.first:
        if item.loose:
            say(f"{item.case.name}: {item.loose}")
    say_first([f"Look again: {words}" for words in unlikely(planned)], "the plan of one variant")
    if any(item.case.has_site for item in planned.first):
        _print_shaft(planned.first[0].case.femur)
    _print_loads(config, planned)
    if planned.has_design:
        _print_design(planned)
    _print_forecast(config, planned)
    _print_limits(planned, minutes)


def _known(item: Planned) -> str:
    """Facts of a construct's geometry as words."""
    facts = {name: value for name, value in item.facts.items() if name != "gap_centre_mm"}
    return ", ".join(in_words(facts))


def _print_shaft(femur: Femur) -> None:
    """Rigidities of the bone by level, each beside those of six femora."""
    columns = ("EI N·m²", "GJ N·m²", "EA MN")
    headings = ["at %", *(text for one in columns for text in (one, "six femurs"))]
    rows = []
    for own in rigidities(femur):
        six = SIX_FEMORA[own.percent]
        planes = (*six.sagittal, *six.frontal)
        ranges = ((min(planes), max(planes)), six.torsion, six.axial)
        values = (f"{own.bending:.0f}", f"{own.torsion:.0f}", f"{own.axial:.1f}")
        pairs = zip(values, (f"{low:g} to {high:g}" for low, high in ranges), strict=True)
        rows.append((str(own.percent), *(cell for pair in pairs for cell in pair)))
    say_table("The femur's shaft beside published ones", headings, rows, headings)
    say(
        f"Lowest to highest of {SIX_FEMORA_SOURCE}. Levels count from the knee. EI spans the sagittal "
        "and the frontal plane; this bone is round, with the mean of both."
    )


def _print_loads(config: StudyConfig, planned: Plan) -> None:
    """Each load's free body: what acts where, and what statics says goes through the study's gap."""
    alone = _specimen(planned)
    height = alone.length_mm if alone else config.femur.top_mm
    acting_on = []
    for load in config.loads:
        for number, one in enumerate(actions(load, config.femur, height)):
            cells = (one.name, _vector(one.force), _vector(one.point), _vector(one.moment / 1000))
            acting_on.append((load.name if not number else "", *cells))
    say_table("Loads", ("load", "acts", *ACTS), acting_on, ACTS)
    if alone:
        say(f"Vectors are medial, anterior, proximal; heights from the held end of {alone.name}.")
        return
    say("Vectors are medial, anterior, proximal; heights from the knee end.")
    say_table("What they send through the gap", ("load", *THROUGH), _sent(config), THROUGH)
    say(
        "N tension, V shear, M bending, T torque about the shaft axis, all from statics alone; shear "
        "and bending without their direction."
    )


def _specimen(planned: Plan) -> Specimen | None:
    """The first specimen of a study that has no femur, and with it no gap."""
    own = [item.case.construct for item in planned.first]
    return own[0] if isinstance(own[0], Specimen) and not any(one.has_femur for one in own) else None


def _sent(config: StudyConfig) -> Iterator[tuple[str, ...]]:
    """What each load sends through the study's gap."""
    femur = config.femur
    place = (0.0, 0.0, gap_centre(femur, config.defect))
    x, y, centre = place if femur.bow is None else femur.bow.place(place).tolist()
    for load in config.loads:
        through = section_load(actions(load, femur, femur.top_mm), centre, (x, y))
        yield (
            load.name, f"{through[2]:.0f}", f"{np.hypot(*through[:2]):.0f}",
            f"{np.hypot(*through[3:5]) / 1000:.1f}", f"{through[5] / 1000:.1f}",
        )  # fmt: skip


def _vector(values: np.ndarray) -> str:
    return ", ".join(f"{value + 0.0:.0f}" for value in values.round()) if values.any() else "–"


def _print_design(planned: Plan) -> None:
    """How many points a design has, what it varies, and which can not be built."""
    design = planned.study.design
    names = {factor.key: factor.name for factor in design.factors} if design else {}
    say(
        f"A design of {counted(len(planned.variants), 'variant')} over {', '.join(names.values())}; "
        f"the constructs above are those of {planned.items[0].case.variant}."
    )
    points = {
        one.name: ", ".join(f"{names[key]} = {short(value)}" for key, value in one.point.items())
        for one in planned.variants
    }
    say_first([f"{name}: {point}" for name, point in points.items()], LISTED)
    refused = [f"{v.name} can not be built ({points[v.name]}): {v.reason}" for v in planned.refused]
    say_first(refused, LISTED)
    few = too_few(planned)
    if few:
        say(few)


def _print_forecast(config: StudyConfig, planned: Plan) -> None:
    """How much there is to do, and about what that takes."""
    cost = planned.forecast
    cases, meshes = (
        counted(len(planned.distinct), "case"),
        counted(len(planned.meshes), "mesh", "meshes"),
    )
    loads = counted(len(config.loads), "load")
    say(
        f"{cases} on {meshes} at level {config.mesh.level}, "
        f"{counted(planned.solutions, 'solution')}{_stops(planned)}. {loads} by superposition: "
        f"{'it' if len(config.loads) == 1 else 'each'} is a sum of unit loads, which are solved once.\n"
        f"About {duration(cost.hours)} for one worker, {cost.memory_gb:.1f} GB of memory each; all "
        f"fields take {cost.fields_gb:.2g} GB (--keep-fields). Rough: machines differ by factors."
    )


def _print_limits(planned: Plan, minutes: float | None) -> None:
    """How long each step may take before a worker is ended."""
    works = [item.work for item in planned.distinct.values()]
    steps = {
        "a mesh may take": max(one.allowed(minutes).mesh_s for one in works),
        "a stage": max(one.allowed(minutes).stage_s for one in works),
    }
    if any(one.has_twin for one in works):
        steps["a reduced model"] = max(one.allowed(minutes).twin_s for one in works)
    said = ", ".join(f"{step} {spoken(seconds)}" for step, seconds in steps.items())
    why = (
        f"{PATIENCE:g} times the forecast, {spoken(LEAST_S)} at least"
        if minutes is None
        else "as asked"
    )
    say(
        f"What hangs is ended: in the largest case {said} ({why}; --time-limit MINUTES). Such "
        "a case fails with a sentence, and the run goes on."
    )


def _stops(planned: Plan) -> str:
    """How many columns of stops come besides; nothing where no surfaces can touch."""
    columns = sum(item.columns * item.solutions for item in planned.distinct.values())
    return f", and about {counted(columns, 'column')} for stops where surfaces touch" if columns else ""


def duration(hours: float) -> str:
    """Hours as words."""
    return f"{hours:.1f} h" if hours >= 1 else f"{max(1, round(60 * hours))} min"
