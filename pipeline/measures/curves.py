"""How a construct answers a load as it grows: free play, then one stop after another.

Between two changes of what bears an answer is all but straight, so a few even steps and the factors of
the load at which a stop closes or opens tell all of it.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, replace
from functools import partial

import numpy as np

from geometries.solids import Geometry
from pipeline.errors import SolveError
from pipeline.fem.contact.cones import NotHeldError
from pipeline.fem.contact.states import State
from pipeline.fem.contact.touching import Touching
from pipeline.fem.mesh import Mesh
from pipeline.fem.space import Array
from pipeline.measures.implants import hottest, implants
from pipeline.measures.play import Ends
from pipeline.measures.stiffness import is_pure_moment

STEPS = 8  # in each sense
KNOWN = 0.005  # share of the load to which the place of a kink is known
SPLITS = (0.5, 0.3, 0.7)  # where a span is cut; the others if nothing is in balance at the first
PLACE = "far"
CURVE_COLUMNS = (
    "stage", "load", "factor", "gap_movement_mm", "gap_axial_movement_mm", "gap_rotation_deg",
    "stress_MPa", "stress_part", "bearing", "kink",
)  # fmt: skip
KINK = "yes"


@dataclass(frozen=True)
class Traced:
    """Equilibrium under a share of a load; a kink is where a stop has just closed or opened."""

    factor: float
    state: State
    is_kink: bool = False


@dataclass(frozen=True)
class CurvePoint:
    """What a construct answers to a share of a load.

    Parameters
    ----------
    load : str
        Which.
    factor : float
        Share of the load; negative where it is turned round.
    movement, axial : float
        Movement of the proximal bone end against the distal one at the far cortex: its size, and along
        the shaft, mm.
    rotation : float
        Size of its rotation, degrees.
    stress : float or None
        Highest von Mises stress exceeded in 5 mm³ of any implant, MPa; None without implants.
    part : str
        The implant that has it.
    bearing : tuple of str
        Touches that bear.
    is_kink : bool
        Whether a stop has just closed or opened.
    """

    load: str
    factor: float
    movement: float
    axial: float
    rotation: float
    stress: float | None
    part: str
    bearing: tuple[str, ...]
    is_kink: bool

    def cells(self, stage: str) -> dict[str, object]:
        """Its cells by column."""
        values = (
            stage, self.load, self.factor, self.movement, self.axial, self.rotation,
            "" if self.stress is None else self.stress, self.part, " ".join(self.bearing),
            KINK if self.is_kink else "",
        )  # fmt: skip
        return dict(zip(CURVE_COLUMNS, values, strict=True))


Answer = Callable[[float], State]


def traced(under: Answer, is_reversible: bool) -> list[Traced]:
    """Follow a load from nothing to the whole of it, and of a reversible one to minus the whole.

    Where nothing holds the load there is no row.

    Parameters
    ----------
    under : callable
        Equilibrium under a share of the load; raises NotHeldError where there is none.
    is_reversible : bool
        Whether the load may be turned round.

    Returns
    -------
    list of Traced
        By rising factor.
    """
    found = [Traced(0.0, under(0.0))]
    for sense in (1, -1) if is_reversible else (1,):
        last = found[0]
        for step in range(1, STEPS + 1):
            reached = _at(under, sense * step / STEPS)
            if reached is not None:
                found += _between(under, last, reached)
                last = reached
    return sorted(found, key=lambda one: one.factor)


def _at(under: Answer, factor: float) -> Traced | None:
    """Equilibrium at a factor, if there is one.

    Just where stops close on a part that hangs free there may be none to round-off, so a factor
    without it is passed over and says nothing of larger ones.
    """
    try:
        return Traced(factor, under(factor))
    except (NotHeldError, SolveError):
        return None


def _between(under: Answer, last: Traced, reached: Traced) -> list[Traced]:
    """What there is to tell from one factor to another, that one too: kinks, by bisection."""
    if set(last.state.forces) == set(reached.state.forces):
        return [reached]
    span = reached.factor - last.factor
    tried = (_at(under, last.factor + share * span) for share in SPLITS)
    middle = next(filter(None, tried), None) if abs(span) > KNOWN else None
    if middle is None:
        return [replace(reached, is_kink=True)]
    before = [one for one in _between(under, last, middle) if one.is_kink]
    return before + _between(under, middle, reached)


def curve_points(
    mesh: Mesh, geometry: Geometry, elasticity: Array, touching: Touching, loads: Mapping[str, Array]
) -> Iterator[CurvePoint]:
    """Curves of one stage under some loads (shares of the unit loads); none without stops or a gap.

    Parameters
    ----------
    mesh, geometry : Mesh, Geometry
        The construct.
    elasticity : Array
        Stress over strain of each part (parts, 6, 6), MPa.
    touching : Touching
        What bears under any load.
    loads : dict of str to Array
        Loads that are borne.
    """
    ends = Ends.of(mesh, geometry, touching.columns) if geometry.stops else None
    if ends is None:
        return
    curves = {
        name: traced(partial(_under, touching, load), is_pure_moment(load))
        for name, load in loads.items()
    }
    steps = [(name, one) for name, curve in curves.items() for one in curve]
    turns = np.array(
        [
            one.is_kink or one is curve[0] or one is curve[-1]
            for curve in curves.values()
            for one in curve
        ]
    )
    u = touching.solution.displacement  # rigid motions strain nothing
    shares = np.stack([one.state.shares[: u.shape[2]] for _, one in steps], axis=1)
    stress = hottest(implants(mesh, elasticity, u), shares, turns)
    for (name, one), (level, part) in zip(steps, stress, strict=True):
        moved = ends.movement(one.state.shares, PLACE)
        touches = (touching.stops.listed[k].touch for k in one.state.forces)
        yield CurvePoint(
            load=name,
            factor=one.factor,
            movement=float(np.linalg.norm(moved)),
            axial=float(moved[2]),
            rotation=float(np.linalg.norm(ends.rotation(one.state.shares))),
            stress=level,
            part=part,
            bearing=tuple(dict.fromkeys(touches)),
            is_kink=one.is_kink,
        )


def _under(touching: Touching, load: Array, factor: float) -> State:
    return touching.under(factor * load)
