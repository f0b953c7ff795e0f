"""What a run will take, before it does anything."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from math import ceil

from geometries.solids import Geometry

# For each million unknowns, one thread on one of two cores: meshes of 60 femurs of 76,000 to 510,000
# unknowns; stages, and blocks of unit loads and stops, of the demo's nails.
MESH_S, STAGE_S, BLOCK_S, START_S = 25.0, 35.0, 20.0, 1.0
TWIN_STAGES = 7  # that a reduced model takes as long as
ANSWER_S = 0.05  # of a reduced model, at one set of inputs
BLOCK = 8  # loads that are solved for side by side
BASE_GB, WORK_GB, TWIN_GB = 0.35, 5.0, 26.0
MESH_GB, FIELD_GB = 0.020, 0.0046
# A step that takes so many times its forecast hangs: machines differ by factors, and a small step may
# wait for a busy disk.
PATIENCE, LEAST_S = 20.0, 600.0


@dataclass(frozen=True)
class Forecast:
    """What a run will take, on one machine with a thread for each worker; rough, by factors.

    Parameters
    ----------
    hours : float
        Work of one worker for all cases.
    memory_gb : float
        Of a worker in its largest case.
    fields_gb : float
        Of all fields, if they are kept.
    """

    hours: float
    memory_gb: float
    fields_gb: float


@dataclass(frozen=True)
class Work:
    """What a case takes.

    Parameters
    ----------
    unknowns, solutions, columns, loads : int
        About how many unknowns, systems of equations, columns of stops at each, and loads it has.
    has_twin : bool
        Whether its reduced model is made too.
    """

    unknowns: int
    solutions: int
    columns: int
    loads: int
    has_twin: bool

    @property
    def mesh_s(self) -> float:
        """About how long its mesh takes, s."""
        return MESH_S * self.unknowns / 1e6

    @property
    def stage_s(self) -> float:
        """About how long one stage takes, s."""
        return (STAGE_S + BLOCK_S * (1 + ceil(self.columns / BLOCK))) * self.unknowns / 1e6

    @property
    def solving_s(self) -> float:
        """About how long all of it takes, s, but for the mesh."""
        stages = self.solutions + (TWIN_STAGES if self.has_twin else 0)
        return START_S + self.stage_s * stages

    def allowed(self, minutes: float | None) -> Allowed:
        """How long its steps may take: as long as somebody said, else by the forecast."""
        whole = (self.mesh_s, self.stage_s, TWIN_STAGES * self.stage_s)
        return Allowed(*(allowed_s(seconds, minutes) for seconds in whole))


@dataclass(frozen=True)
class Allowed:
    """How long a mesh, a stage and a reduced model may take, s, before their worker is ended."""

    mesh_s: float
    stage_s: float
    twin_s: float


def allowed_s(seconds: float, minutes: float | None) -> float:
    """How long a step may take that is expected to take so long, s."""
    return max(LEAST_S, PATIENCE * seconds) if minutes is None else 60 * minutes


def forecast_of(meshes: Iterable[int], cases: Sequence[Work]) -> Forecast:
    """Time, memory and disk from the unknowns of each mesh and the work of each case."""
    seconds = sum(MESH_S * unknowns / 1e6 for unknowns in meshes)
    fields = 0.0
    for one in cases:
        seconds += one.solving_s
        fields += one.unknowns / 1e6 * (MESH_GB + FIELD_GB * one.solutions * one.loads)
    held = (one.unknowns / 1e6 * (TWIN_GB if one.has_twin else WORK_GB) for one in cases)
    return Forecast(seconds / 3600, BASE_GB + max(held), fields)


def expected_columns(geometry: Geometry) -> int:
    """About how many columns the stops of a construct need at a stage, from what others took.

    A nail that hangs in its holes needs the two outer rims of each bolt, in two directions, and leans
    on its canal at more places than one that its bolts hold.
    """
    touches = {stop.touch for stop in geometry.stops}
    canal = 10 if geometry.apart else 2
    share = {"canal": canal, "bolt": 4, "bone_ends": 1, "plate": 1}
    return sum(share[next(kind for kind in share if touch.startswith(kind))] for touch in touches)
