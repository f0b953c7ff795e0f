"""How far the results of two runs may be apart and still be the same."""

from __future__ import annotations

from dataclasses import dataclass

from pipeline.fem.limits import BALANCE_TOLERANCE
from pipeline.measures.dictionary import PEAK

ROUND_OFF = 1e-6  # of the largest value of its quantity in the same construct; from experience
TAILS = frozenset(
    (
        "von_mises_p99", "von_mises_p99_9", PEAK, "yield_factor", "endurance_factor",
        "screw_bone_strain_p5", "screw_bone_volume_over",
    )
)  # fmt: skip
"""Quantities that the most loaded few mm³ of a part decide."""
RESIDUALS = frozenset(("statics_residual", "fragment_residual"))
"""Quantities that are nothing but round-off."""


@dataclass(frozen=True)
class Tolerances:
    """Allowed differences, as shares of the larger of two values.

    Parameters
    ----------
    same_mesh : float
        Where both runs solved the same mesh.
    other_mesh : float
        Where they did not.
    tail : float
        On another mesh, for what the most loaded few cells decide, or what three meshes showed to be
        singular.

    Notes
    -----
    On the same mesh only round-off differs, and a unit of the seventh, last printed digit is at most
    1e-6. Another release of the mesher makes another mesh of the same edge lengths, whose error
    differs by a part of itself: half a percent (common practice, no source). No quantity of the
    dictionary is that of a single cell, but a stress exceeded in 5 mm³ beside a bonded edge rests on
    few of them and may have no value at all: ten times as much.

    Two values below 1e-6 of the largest of their quantity in the same construct are both round-off,
    whatever their sign. A residual has no digits to repeat: it may differ by what the balance of every
    row is held to.
    """

    same_mesh: float = 1e-6
    other_mesh: float = 0.005
    tail: float = 0.05

    @classmethod
    def of_percent(cls, percent: float | None) -> Tolerances:
        """One tolerance for every quantity and mesh, percent; None gives the usual ones."""
        return cls() if percent is None else cls(*[percent / 100] * 3)

    def share(self, quantity: str, is_same: bool, is_singular: bool) -> float:
        """Share of the larger value that two results may be apart."""
        if is_same:
            return self.same_mesh
        return self.tail if is_singular or quantity in TAILS else self.other_mesh

    @staticmethod
    def allowed(quantity: str, share: float, larger: float, largest: float) -> float:
        """Allowed difference in the unit of the quantity, from the allowed share of the larger value.

        `largest` is the size of the largest value of their quantity in the same construct.
        """
        if quantity in RESIDUALS:
            return BALANCE_TOLERANCE
        floor = ROUND_OFF * largest
        return share * larger if larger > floor else 2 * floor
