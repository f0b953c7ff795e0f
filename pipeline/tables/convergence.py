"""How wrong a value may be for the mesh it was read on, from three meshes (Roache's index)."""

from __future__ import annotations

from dataclasses import dataclass
from math import inf, log2
from typing import Literal

Verdict = Literal["converging", "exact", "oscillatory", "unsettled", "singular"]

# Factors of safety: three grids, and where the observed order is not to be trusted (Roache 1994 J
# Fluids Eng 116:405; Celik 2008 J Fluids Eng 130:078001; ASME V&V 20-2009; read in open tutorials and
# codes that follow them).
SAFETY, CAUTIOUS = 1.25, 3.0
LEAST_ORDER, MOST_ORDER = 0.5, 4.0  # quadratic energy has 4
FORMAL_ORDER = 2.0  # of stress and strain, which is taken where none can be observed
GROWTH = 0.1  # a value that changes by more at each halving of the cells has no limit
ROUND_OFF = 1e-7  # changes below this share of the value are those of the solver
TINY_ORDER, HUGE_ORDER = 1e-6, 30.0


@dataclass(frozen=True)
class Estimate:
    """What three meshes say about a value.

    Parameters
    ----------
    verdict : str
        ``converging``; ``exact`` where the meshes agree to round-off; ``oscillatory`` where the changes
        have unlike signs; ``singular`` where they are large and do not shrink, so that the value must
        not be quoted; ``unsettled`` where they do not shrink but are small, as on coarse meshes that
        are much alike.
    order : float
        Observed order of convergence; NaN where it oscillates or is exact.
    extrapolated : float
        Value at zero mesh size by Richardson's extrapolation; NaN unless converging or exact.
    errors : (float, float, float)
        Grid-convergence index of the fine, the middle and the coarse value, as a share of it; infinite
        where nothing bounds it.
    """

    verdict: Verdict
    order: float
    extrapolated: float
    errors: tuple[float, float, float]


def estimate(values: tuple[float, float, float], sizes: tuple[float, float, float]) -> Estimate:
    """Judge a value by three meshes.

    Parameters
    ----------
    values : (float, float, float)
        On the fine, the middle and the coarse mesh.
    sizes : (float, float, float)
        Their cell sizes h = (volume / cells)^(1/3), mm, rising.

    Raises
    ------
    ValueError
        If the sizes do not rise.

    Notes
    -----
    With e21 = f2 - f1, e32 = f3 - f2 and the ratios r of the sizes the order p solves
    e32 / e21 = r21^p (r32^p - 1) / (r21^p - 1); then f_ext = (r21^p f1 - f2) / (r21^p - 1), and the
    index of a mesh is F |f - f_ext| / |f|. An order above 4 is taken as 4, one below 0.5 as the formal
    order 2 of stress and strain, both with the cautious factor (Roache 2011, J Fluids Eng 133:115501).
    """
    fine, middle, coarse = values
    if not sizes[0] < sizes[1] < sizes[2]:
        raise ValueError(f"sizes {sizes} do not rise from fine to coarse; report this study file")
    first, second = middle - fine, coarse - middle
    scale = max(map(abs, values))
    if max(abs(first), abs(second)) <= ROUND_OFF * scale:
        return Estimate("exact", float("nan"), fine, (0.0, 0.0, 0.0))
    r21, r32 = sizes[1] / sizes[0], sizes[2] / sizes[1]
    if first * second < 0:
        spread = max(values) - min(values)
        bounds = [CAUTIOUS * spread / abs(value) if value else inf for value in values]
        return Estimate("oscillatory", float("nan"), float("nan"), (bounds[0], bounds[1], bounds[2]))
    order = _order(first, second, r21, r32)
    settled = order >= LEAST_ORDER
    if not settled and abs(first) > ((1 + GROWTH) ** log2(r21) - 1) * abs(middle):
        return Estimate("singular", order, float("nan"), (inf, inf, inf))
    safety = SAFETY if settled and order <= MOST_ORDER else CAUTIOUS
    used = min(order, MOST_ORDER) if settled else FORMAL_ORDER
    limit = fine - first / (r21**used - 1)
    errors = [safety * abs(limit - value) / abs(value) if value else inf for value in values]
    shares = (errors[0], errors[1], errors[2])
    if settled:
        return Estimate("converging", order, limit, shares)
    return Estimate("unsettled", order, float("nan"), shares)


def _order(first: float, second: float, r21: float, r32: float) -> float:
    """Order p of changes of one sign, from second / first = r21^p (r32^p - 1) / (r21^p - 1)."""
    from scipy.optimize import brentq  # slow to import, and who quotes our factors of safety needs none

    def excess(p: float) -> float:
        return abs(first) * r21**p * (r32**p - 1) / (r21**p - 1) - abs(second)

    if excess(TINY_ORDER) > 0:
        return 0.0
    return inf if excess(HUGE_ORDER) < 0 else float(brentq(excess, TINY_ORDER, HUGE_ORDER))
