"""What each assumption of the model is worth: the same results with it the other way."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace

from geometries.errors import StudyError
from geometries.parameters import Nail
from pipeline.fem.meshing.sizes import Level
from pipeline.loading.loads import HipForce, Load, PureMoment, Stance
from pipeline.measures.dictionary import QUANTITIES
from pipeline.reduced.model import BeyondError
from pipeline.run.case import Case
from pipeline.run.clock import Clock
from pipeline.run.explored import Inquiry, InquiryReader, Place, values_at
from pipeline.run.solving import run_case
from pipeline.storage.files import Cells

OTHER_POISSON = {True: 0.45, False: 0.167}  # of tissue with a small one, and with a large one
TILT_DEG = 7.0  # the load leans as much as from the line of hip and knee to single-leg stance
FINER: dict[Level, Level] = {"coarse": "default", "default": "fine"}
BY_TWIN, BY_RUN = "reduced model", "run of its own"
FAR_MM = 1000.0  # a clearance that nothing uses up


@dataclass(frozen=True)
class Assumption:
    """One assumption, as it is and the other way.

    Parameters
    ----------
    name, as_modelled, other_way : str
        What it is, in words.
    inputs : dict of str to float
        Inputs of the twin the other way.
    tilt : (float, float) or None
        Angle and azimuth of the load's tilt, degrees.
    load : Load or None
        Another load.
    clearance : dict of str to float
        Other clearances, mm, by what touches there.
    case : Case or None
        Another case, which is run in full.
    """

    name: str
    as_modelled: str
    other_way: str
    inputs: Mapping[str, float] | None = None
    tilt: tuple[float, float] | None = None
    load: Load | None = None
    clearance: Mapping[str, float] | None = None
    case: Case | None = None


def assumptions_of(asked: Inquiry) -> Iterator[Assumption]:
    """Assumptions of a construct that can be turned round."""
    yield from _of_tissue_and_load(asked)
    yield from _of_touches(asked)
    yield from _of_cases(asked)


def _of_tissue_and_load(asked: Inquiry) -> Iterator[Assumption]:
    poisson = asked.stage.material().poisson
    other = OTHER_POISSON[poisson < 0.3]
    inputs = {"tissue_poisson": other}
    yield Assumption("Poisson's ratio of the tissue", f"{poisson:g}", f"{other:g}", inputs)
    load = asked.load
    if isinstance(load, HipForce | Stance):
        for azimuth, side in ((180.0, "medially"), (90.0, "anteriorly")):
            words = f"turned {TILT_DEG:g} degrees {side}"
            yield Assumption("direction of the load", "as stated", words, tilt=(TILT_DEG, azimuth))
    if not isinstance(load, PureMoment):
        way = {"distal_end": "hip_knee", "hip_knee": "distal_end"}[load.support]
        turned = load.model_copy(update={"support": way})
        yield Assumption("support", load.support, way, load=turned)


def _of_touches(asked: Inquiry) -> Iterator[Assumption]:
    stops = asked.twin.model.stops.listed
    bolts = {stop.touch: 0.0 for stop in stops if stop.touch.startswith("bolt_")}
    canal = {stop.touch: FAR_MM for stop in stops if stop.touch.startswith("canal")}
    if bolts:
        yield Assumption("play of the bolts", "as stated", "none", clearance=bolts)
    if canal:
        yield Assumption("canal", "nail bears on its wall", "nothing touches", clearance=canal)


def _of_cases(asked: Inquiry) -> Iterator[Assumption]:
    case = asked.case
    other = "isotropic" if case.femur.cortex == "transverse" else "transverse"
    femur = case.femur.model_copy(update={"cortex": other})
    yield Assumption("cortical bone", case.femur.cortex, other, case=replace(case, femur=femur))
    finer = FINER.get(case.level)
    if finer is not None:
        yield Assumption("mesh", case.level, finer, case=replace(case, level=finer))
    nail = getattr(case.construct, "nail", None)
    if isinstance(nail, Nail) and nail.bolts.fit == "play":
        bolts = nail.bolts.model_copy(update={"fit": "tied"})
        own = nail.model_copy(update={"bolts": bolts})
        construct = case.construct.model_copy(update={"nail": own})
        changed = replace(case, construct=construct)
        yield Assumption("bolts in the nail", "with play", "tied", case=changed)


def ledger_rows(asked: Inquiry, places: tuple[Place, ...]) -> Iterator[Cells]:
    """Rows of a construct: each assumption the other way, and what that does to some results."""
    try:
        base = dict(zip(places, InquiryReader(asked, places).at({}, None), strict=True))
    except BeyondError:
        return  # as over an empty gap
    for one in assumptions_of(asked):
        try:
            values = _run(one.case, asked, places) if one.case else _evaluated(one, asked, places)
        except StudyError:
            continue  # what can not be built or held that way is no other way
        for place, value in values.items():
            quantity, location = place
            if value == value and base[place] == base[place]:  # both are there
                yield {
                    "assumption": one.name, "as_modelled": one.as_modelled, "other_way": one.other_way,
                    "construct": asked.case.name, "stage": asked.stage.name, "load": asked.load.name,
                    "quantity": quantity, "location": location, "unit": QUANTITIES[quantity].unit,
                    "value": base[place], "other_value": value,
                    "effect_percent": 100 * (value / base[place] - 1) if base[place] else "",
                    "by": BY_RUN if one.case else BY_TWIN,
                }  # fmt: skip


def _evaluated(one: Assumption, asked: Inquiry, places: tuple[Place, ...]) -> dict[Place, float]:
    """Values from the twin with an assumption the other way."""
    other = replace(asked, touches=one.clearance or {}, load=one.load or asked.load)
    found = InquiryReader(other, places).at(one.inputs or {}, one.tilt)
    return dict(zip(places, found.tolist(), strict=True))


def _run(case: Case, asked: Inquiry, places: tuple[Place, ...]) -> dict[Place, float]:
    """Values from a run of the full model."""
    return full_values(
        replace(case, stages=(asked.stage,), loads=(asked.load,), asks_more=False), places
    )


def full_values(case: Case, places: tuple[Place, ...]) -> dict[Place, float]:
    """Values of a case with one stage and one load from the full model, NaN where it has none."""
    measures = [row.measure for row in run_case(case, Clock()).rows]
    return dict(zip(places, values_at(places, measures), strict=True))
