"""Which factor of a design moves which result: the rows of ``sensitivity.csv``."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator, Sequence
from dataclasses import dataclass
from math import isfinite

import numpy as np

from geometries.errors import StudyError
from pipeline.measures.dictionary import Quantity
from pipeline.study.config import StudyConfig
from pipeline.study.design import Design, Morris, OneAtATime, Paired, SobolIndices
from pipeline.sweeps.effects import Array, Index, morris_indices, sobol_indices, surface_indices
from pipeline.sweeps.outcomes import GROUP_COLUMNS, Block, blocks_of
from pipeline.sweeps.points import shares
from pipeline.sweeps.surface import Surface, fit_surface
from pipeline.sweeps.tornado import tornado
from pipeline.sweeps.variants import Point, points_of
from pipeline.tables.flagged import MARK
from pipeline.tables.rows import Row

SENSITIVITY_COLUMNS = (
    *GROUP_COLUMNS, "factor", "label", "method", "index", "value", "confidence", "at", "q2",
    "surface", "points", "note",
)  # fmt: skip
SHARES = ("S1", "ST")
FLAT = "the result does not vary"
BLIND = "Q² is not above 0: the surface predicts no better than the mean, its indices mean nothing"
_TABLE = "sensitivity.csv"
INDICES: dict[str, Quantity] = {
    "low, high": Quantity(
        "%", _TABLE,
        "Change of the result against the study as written when the factor alone goes to its lowest, "
        "its highest value; what that is stands under at.",
    ),
    "swing": Quantity(
        "%", _TABLE, "Largest less smallest such change over all values of the factor, 0 among them.",
    ),
    "mu, mu_star, sigma": Quantity(
        "as value", _TABLE,
        "Mean, mean size and standard deviation of the elementary effects (Morris 1991), "
        "each for the factor's whole range. A large sigma: the effect bends or depends on others.",
    ),
    "S1, ST": Quantity(
        "1", _TABLE,
        "Share of the result's variance that the factor explains alone, and together with others "
        "(Saltelli 2010), all factors spread evenly over their ranges. Of the model "
        "itself with sobol_indices, else of the response surface.",
    ),
    "q2": Quantity(
        "1", _TABLE,
        "How well a response surface through the other points predicts a point that is left out: 1 "
        "perfect, 0 no better than the mean. Points are left out one by one, or by tenths beyond 60.",
    ),
}  # fmt: skip
"""What the indices mean, for the data dictionary."""


@dataclass(frozen=True)
class _Surfaces:
    """Response surfaces of a block, or why there are none."""

    surface: Surface | None
    note: str = ""


def sensitivity_rows(
    study: StudyConfig, refused: Collection[str], results: Iterable[Row]
) -> list[dict[str, object]]:
    """Evaluate the sensitivity of a study's results at all points to the factors of its design.

    The refused are names of its points that can not be built. Rows have the cells of
    ``SENSITIVITY_COLUMNS``. There are none without a design, or with a paired one, whose factors move
    together so that no effect is that of one. An index that can not be evaluated has an empty value and
    a note.
    """
    design = study.design
    if design is None or isinstance(design, Paired):
        return []
    points = points_of(study)
    rows: list[dict[str, object]] = []
    for block in blocks_of(points, design.outcomes, refused, results):
        surfaces = _surfaces(design, points, block)
        for column, cells in _cells(design, points, block, surfaces):
            note = _joined(_flagged(block, column), cells["note"])
            rows.append(_beside(block, column, surfaces) | cells | {"note": note})
    return rows


def _flagged(block: Block, column: int) -> str:
    """At how many of the points used a result is flagged."""
    count = block.flagged[column]
    return f"{MARK} flagged at {count} of {block.used} points" if count else ""


def _surfaces(design: Design, points: Sequence[Point], block: Block) -> _Surfaces:
    """Response surfaces over the factors as shares of their ranges."""
    words = [factor.name for factor in design.factors if not factor.is_numeric]
    if words:
        return _Surfaces(None, f"no response surface: words, not numbers, in {', '.join(words)}")
    columns = []
    for factor in design.factors:
        taken = [point.values[factor.key] for point in points]
        if any(value is None for value in taken):
            return _Surfaces(None, f"no response surface: {factor.name} is not written in the study")
        numbers = np.array(taken, dtype=float)
        low, high = min(factor.range[0], numbers.min()), max(factor.range[1], numbers.max())
        columns.append((numbers - low) / (high - low or 1.0))
    try:
        where = np.column_stack(columns)[block.there]
        return _Surfaces(fit_surface(where, block.values[block.there]))
    except StudyError as error:
        return _Surfaces(None, f"no response surface: {error}")


def _beside(block: Block, column: int, surfaces: _Surfaces) -> dict[str, object]:
    """Cells that all rows of a result share."""
    surface = surfaces.surface
    q2 = float(surface.q2[column]) if surface else float("nan")
    return {
        **dict(zip(GROUP_COLUMNS, block.groups[column], strict=True)),
        "q2": q2 if isfinite(q2) else "",
        "surface": surface.kind if surface else "",
        "points": block.used,
    }


def _cells(
    design: Design, points: Sequence[Point], block: Block, surfaces: _Surfaces
) -> Iterator[tuple[int, dict[str, object]]]:
    """For every result of a block, cells of each factor and index."""
    if isinstance(design, OneAtATime):
        for column in range(len(block.groups)):
            for cells in tornado(design.factors, points, block.values[:, column]):
                yield column, cells | {"unit": "%", "note": _joined(cells["note"], surfaces.note)}
        return
    is_direct, is_morris = isinstance(design, Morris | SobolIndices), isinstance(design, Morris)
    common: dict[str, object] = {"method": design.kind if is_direct else "sobol_of_surface"}
    common |= {} if is_morris else {"unit": "1"}
    nothing: Array = np.full(len(design.factors), np.nan)
    unknown = [Index(name, nothing) for name in (("mu", "mu_star", "sigma") if is_morris else SHARES)]
    for column, (indices, note) in enumerate(_indices(design, block, surfaces)):
        for number, factor in enumerate(design.factors):
            for index in indices or unknown:
                value, sure = float(index.values[number]), index.confidence
                yield (
                    column,
                    {
                        **common,
                        "factor": factor.key,
                        "label": factor.name,
                        "index": index.name,
                        "value": value if isfinite(value) else "",
                        "confidence": "" if sure is None else float(sure[number]),
                        "note": note,
                    },
                )


Found = tuple[tuple[Index, ...], str]  # none where they can not be evaluated, and a note


def _indices(design: Design, block: Block, surfaces: _Surfaces) -> Iterator[Found]:
    """Indices of each result of a block."""
    if isinstance(design, Morris | SobolIndices):
        yield from (_direct(design, block.missing, one, surfaces.note) for one in block.values.T)
    elif surfaces.surface is None:
        yield from [((), _joined(block.missing, surfaces.note))] * len(block.groups)
    else:
        beyond = "the surface is read beyond the constraints too" if design.constraints else ""
        note = _joined(f"{block.missing}, left out" if block.missing else "", beyond)
        every = surface_indices(surfaces.surface.predict, len(design.factors))
        for indices, q2 in zip(every, surfaces.surface.q2, strict=True):
            doubt = FLAT if not indices else BLIND if q2 <= 0 else ""
            yield indices, _joined(doubt, note)


def _direct(design: Morris | SobolIndices, missing: str, values: Array, note: str) -> Found:
    """Indices from the model's own values; all points are needed."""
    if missing:
        return (), _joined(f"{missing}; {design.kind} needs all of them", note)
    if np.ptp(values) <= 1e-9 * np.abs(values).max():
        return (), _joined(FLAT, note)
    if isinstance(design, Morris):
        return morris_indices(shares(design), values, design.levels), note
    return sobol_indices(values, len(design.factors)), note


def _joined(*notes: object) -> str:
    return "; ".join(str(note) for note in notes if note)
