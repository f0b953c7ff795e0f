"""Over which inputs a comparison holds: samples asked of each construct's twin, pair by pair."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from pipeline.measures.dictionary import QUANTITIES
from pipeline.measures.exploring import DIRECTION_MAP, TISSUE_MAP
from pipeline.reduced.model import BeyondError
from pipeline.run.explored import InquiryReader, Place, Samples
from pipeline.run.twins import MOVED
from pipeline.storage.files import Cells
from pipeline.study.robustness import Cone, Robustness
from pipeline.study.stages import Stage
from pipeline.sweeps.flip import Flip, nearest_flip
from pipeline.sweeps.robustness import Tally, cone_map, decided_by, shares_of, tissue_map, turning

Array = NDArray[np.float64]
TISSUE, DIRECTION = "tissue_modulus_mpa", "load_direction"
LEAST_TILT = 0.01  # degrees, below which a load is told as it was
TOLD = 5e-3  # of an input, from which a change of it is told
NO_MOVE = "less than half a percent of any input"
GRID = 2001  # shares at which an input's value as written is looked up


@dataclass(frozen=True)
class Drawn:
    """Samples of the inputs.

    Parameters
    ----------
    inputs : Robustness
        What is drawn.
    stage : Stage
        The tissue as the study has it.
    """

    inputs: Robustness
    stage: Stage

    @cached_property
    def shares(self) -> Array:
        """Shares of the distributions (samples, dimension)."""
        return self.inputs.shares()

    def split(self, shares: Array) -> tuple[list[dict[str, float]], Array | None]:
        """Values of the inputs, sample by sample, and tilts (samples, 2), degrees, if any."""
        values = self.inputs.values(shares)
        tilts = values.pop(DIRECTION, None)
        names, columns = list(values), np.stack([*values.values(), np.zeros(len(shares))], axis=1)
        return [dict(zip(names, row, strict=False)) for row in columns.tolist()], tilts

    def one(self, shares: Array) -> tuple[dict[str, float], tuple[float, float] | None]:
        """Values of the inputs, and the tilt, at shares (dimension,)."""
        (values,), tilts = self.split(shares[None])
        return values, None if tilts is None else (float(tilts[0, 0]), float(tilts[0, 1]))

    @cached_property
    def written(self) -> Array:
        """Shares (dimension,) of what the study has; the nearest end where it lies outside."""
        own = self.stage.material()
        known = {TISSUE: own.modulus, "tissue_poisson": own.poisson}
        found: list[float] = []
        grid = np.linspace(0.0, 1.0, GRID)
        for one in self.inputs.inputs:
            if isinstance(one, Cone):
                found += [0.0, 0.5]
            else:
                found.append(float(np.interp(known.get(one.name, 1.0), one.at(grid), grid)))
        return np.array(found)

    def told(self, flip: Flip) -> str:
        """A flip in words: each input that moves, from what the study has to where the order turns."""
        both = self.inputs.values(np.stack([self.written, flip.shares]))
        words = []
        for name, (before, after) in both.items():
            if name == DIRECTION:
                angle, azimuth = after.tolist()
                tilt = f"load tilted {angle:.3g} deg towards azimuth {round(azimuth)} deg"
                words += [tilt] if angle > LEAST_TILT else []
            elif abs(after - before) > TOLD * abs(before) and f"{before:.3g}" != f"{after:.3g}":
                words.append(f"{name} {before:.3g} -> {after:.3g}")
        return "; ".join(words) or NO_MOVE


@dataclass(frozen=True)
class ComparedPair:
    """Two constructs of which one quantity is compared over samples.

    Parameters
    ----------
    names : (str, str)
        Both constructs.
    samples : (Samples, Samples)
        What their twins answered.
    place : (str, str)
        Quantity and location.
    number : int
        Which of the quantities that were asked for it is.
    errors : (float, float)
        Of the mesh, as shares of the values; infinite where nobody knows.
    load : str
        Under which.
    flags : str
        Of either result at the inputs as the study has them.
    """

    names: tuple[str, str]
    samples: tuple[Samples, Samples]
    place: Place
    number: int
    errors: tuple[float, float]
    load: str
    flags: str = ""

    @cached_property
    def values(self) -> tuple[Array, Array]:
        """Of both (samples,)."""
        a, b = (one.values[:, self.number].astype(np.float64) for one in self.samples)
        return a, b

    @cached_property
    def combined(self) -> Array:
        """Sum of both errors (samples,): of the mesh, and of the twin."""
        of_twins = (one.off[self.number] for one in self.samples)
        both = zip(self.values, self.errors, of_twins, strict=True)
        return np.asarray(sum(np.abs(value) * (error + off) for value, error, off in both))

    def common(self, drawn: Drawn) -> Cells:
        """Cells that all its rows share."""
        (a, b), (quantity, location) = self.names, self.place
        return {
            "a": a, "b": b, "stage": drawn.stage.name, "load": self.load, "quantity": quantity,
            "location": location, "unit": QUANTITIES[quantity].unit,
        }  # fmt: skip

    def row(self, drawn: Drawn) -> Cells:
        """Shares of the samples, and what turns them most."""
        (a, b), inputs = self.values, drawn.inputs
        found = shares_of(a, b, self.combined)
        largest = max((found.lower, found.higher, found.undecided), key=lambda one: one.share)
        columns = inputs.columns
        tilts = columns.get(DIRECTION)
        pair = None if tilts is None else (tilts[0], tilts[1])
        indices = turning(drawn.shares, np.asarray(b - a), pair)
        most = max(columns, key=lambda name: float(indices[columns[name][0]]))
        return self.common(drawn) | {
            "samples": len(a), "uncovered": found.uncovered,
            "a_lower_percent": 100 * found.lower.share, "a_higher_percent": 100 * found.higher.share,
            "undecided_percent": 100 * found.undecided.share,
            "sampling_error_percent": 100 * largest.half,
            "turned_by": most, "turned_by_share": float(indices[columns[most][0]]),
            "flags": self.flags,
        }  # fmt: skip

    def maps(self, drawn: Drawn) -> Iterator[Cells]:
        """Shares over the tissue's modulus and the load's direction, where the twins cover any."""
        return (cells for cells in self._cells(drawn) if np.isfinite(cells["undecided_percent"]))

    def _cells(self, drawn: Drawn) -> Iterator[dict[str, Any]]:
        (a, b), values = self.values, drawn.inputs.values(drawn.shares)
        decided = decided_by(b - a, self.combined)
        limits: dict[str, tuple[float, float]] = {
            one.name: (0.0, one.half_angle_deg) if isinstance(one, Cone) else (one.low, one.high)
            for one in drawn.inputs.inputs
        }
        common = {key: cell for key, cell in self.common(drawn).items() if key != "unit"}
        if TISSUE in values:
            for bin_ in tissue_map(values[TISSUE], b - a, decided, limits[TISSUE]):
                middle = float(np.sqrt(bin_.low_mpa * bin_.high_mpa))
                yield common | {"map": TISSUE_MAP, "x": middle} | _percents(bin_.tally)
        if DIRECTION in values:
            polar, azimuth = values[DIRECTION].T
            for cell in cone_map(polar, azimuth, b - a, decided, limits[DIRECTION][1]):
                tilt = {"map": DIRECTION_MAP, "x": cell.medial_deg, "y": cell.anterior_deg}
                yield common | tilt | _percents(cell.tally)


@dataclass(frozen=True)
class Opposed:
    """The twins of a pair, asked for their difference at any inputs.

    Parameters
    ----------
    readers : (InquiryReader, InquiryReader)
        What reads both.
    pair : ComparedPair
        Which.
    drawn : Drawn
        Samples of the inputs.
    """

    readers: tuple[InquiryReader, InquiryReader]
    pair: ComparedPair
    drawn: Drawn

    def difference(self, shares: Array) -> float:
        """The second less the first at shares (dimension,); NaN where a twin does not cover them."""
        values, tilt = self.drawn.one(shares)
        is_quick = self.pair.place[0] in MOVED
        try:
            a, b = (one.at(values, tilt, is_quick=is_quick)[self.pair.number] for one in self.readers)
        except BeyondError:
            return float("nan")
        return float(b - a)

    @property
    def start(self) -> float:
        """The second less the first as the study has the inputs."""
        return self.difference(self.drawn.written)

    def flip(self) -> Flip | None:
        """The nearest change of the inputs that turns the order, as the twins have it."""
        a, b = self.pair.values
        return nearest_flip(self.difference, self.drawn.written, self.drawn.shares, b - a)


def _percents(tally: Tally) -> dict[str, Any]:
    """Shares of the covered samples in a cell of a map, percent."""
    return {
        "a_lower_percent": 100 * tally.lower, "a_higher_percent": 100 * tally.higher,
        "undecided_percent": 100 * tally.undecided, "samples": tally.covered + tally.uncovered,
    }  # fmt: skip
