"""The smallest change of the inputs that turns the sign of a difference between two constructs."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from math import isfinite, nan
from typing import Any

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Evaluate = Callable[[Array], float]
GUESSES = 6  # points from which it is looked for
APART = 0.25  # of its distance from the start, by which a guess differs from the others
STEP = 1e-4  # of an input's share, for slopes: far above round-off, far below what bends
ALONG, HALVINGS = 16, 20  # places looked at on the way to a flip; halvings between two of them
BEYOND = (0.0, 1e-6, 1e-4, 1e-2)  # of the way, past a place that is on the border by round-off
ROUNDS, ACCURACY = 50, 1e-10  # of each search


@dataclass(frozen=True)
class Flip:
    """The smallest change of the inputs found that turns the sign of a difference.

    Parameters
    ----------
    shares : Array
        Where, as shares of the inputs' distributions (d,), just beyond the flip.
    distance : float
        Euclidean, from the start, in shares.
    evaluations : int
        How often the difference was evaluated.
    """

    shares: Array
    distance: float
    evaluations: int


class _Signed:
    """The difference over its size at the start: 1 there, below 0 where its sign has turned.

    What the model does not cover has not turned.
    """

    def __init__(self, evaluate: Evaluate, start: Array) -> None:
        self._evaluate = evaluate
        self.evaluations = 0
        self.start = start
        self._unit = 1.0
        self._unit = self._value(start)

    @property
    def at_start(self) -> float:
        """The difference itself at the start; NaN where that is not covered."""
        return self._unit

    def __call__(self, shares: Array) -> float:
        found = self._value(shares)
        return found if isfinite(found) else 1.0

    def slopes(self, shares: Array) -> Array:
        """Slopes by one-sided differences, to the side that is covered; 0 if neither is."""
        here = self._value(shares)
        found = np.zeros(len(shares))
        for column, share in enumerate(shares):
            for step in (STEP, -STEP) if share < 0.5 else (-STEP, STEP):
                beside = shares.copy()
                beside[column] += step
                slope = (self._value(beside) - here) / step
                if isfinite(slope):
                    found[column] = slope
                    break
        return found

    def _value(self, shares: Array) -> float:
        self.evaluations += 1
        try:
            return float(self._evaluate(np.clip(shares, 0.0, 1.0))) / self._unit
        except ValueError:
            return nan


def nearest_flip(evaluate: Evaluate, start: Array, shares: Array, differences: Array) -> Flip | None:
    """Find the smallest change of the inputs that turns the sign of a difference.

    Parameters
    ----------
    evaluate : callable
        Makes the difference of shares (d,); NaN or a ValueError where the model does not cover them.
    start : Array
        Shares from which the change counts (d,).
    shares, differences : Array
        Points where the difference is known (n, d), (n,); the nearest ones of the other sign are the
        guesses from which it is looked for.

    Returns
    -------
    Flip or None
        None if no known point is of the other sign, or the start is not covered.

    Notes
    -----
    Sequential quadratic programming (Kraft 1988, as scipy has it) from several guesses, each result
    brought back along the straight way from the start to where the sign first turns. So it is never
    farther than any guess. A pocket of the other sign that no known point lies in is not seen.
    """
    signed = _Signed(evaluate, start)
    if not isfinite(signed.at_start):
        return None
    if signed.at_start == 0:
        return Flip(start.copy(), 0.0, signed.evaluations)
    best: Array | None = None
    for guess in _guesses(start, shares[differences * np.sign(signed.at_start) < 0]):
        if signed(guess) >= 0:
            continue  # as where the known points are of another make than what is evaluated
        nearer = _brought_back(signed, guess)
        for place in (nearer, _searched(signed, nearer)):
            if place is not None and (best is None or _way(start, place) < _way(start, best)):
                best = place
    return None if best is None else Flip(best, _way(start, best), signed.evaluations)


def _way(start: Array, place: Array) -> float:
    return float(np.linalg.norm(place - start))


def _guesses(start: Array, turned: Array) -> list[Array]:
    """Nearest of the points that have turned, no two of them side by side."""
    ways = np.linalg.norm(turned - start, axis=1)
    kept: list[Array] = []
    for number in np.argsort(ways, kind="stable"):
        if all(_way(one, turned[number]) > APART * ways[number] for one in kept):
            kept.append(turned[number])
        if len(kept) == GUESSES:
            break
    return kept


def _searched(signed: _Signed, guess: Array) -> Array | None:
    """The nearest place that has turned, downhill from a guess; None if the search left that side."""
    from scipy.optimize import minimize  # slow to import, and most studies need none

    start = signed.start

    def half_square(place: Array) -> float:
        return 0.5 * float(np.sum((place - start) ** 2))

    def way(place: Array) -> Array:
        return place - start

    turned: Any = {
        "type": "ineq",
        "fun": lambda place: -signed(place),
        "jac": lambda place: -signed.slopes(place),
    }
    found = minimize(
        half_square,
        guess,
        jac=way,
        method="SLSQP",
        bounds=[(0.0, 1.0)] * len(start),
        constraints=turned,
        options={"maxiter": ROUNDS, "ftol": ACCURACY},
    )
    for more in BEYOND:
        place = np.clip(start + (1 + more) * (found.x - start), 0.0, 1.0)
        if signed(place) < 0:
            return _brought_back(signed, place)
    return None


def _brought_back(signed: _Signed, turned: Array) -> Array:
    """Where the sign first turns on the straight way to a place that has turned, just beyond it."""
    start, before, after = signed.start, 0.0, 1.0
    for part in np.arange(1, ALONG) / ALONG:
        if signed(start + part * (turned - start)) < 0:
            after = float(part)
            break
        before = float(part)
    for _ in range(HALVINGS):
        middle = (before + after) / 2
        if signed(start + middle * (turned - start)) < 0:
            after = middle
        else:
            before = middle
    return start + after * (turned - start)
