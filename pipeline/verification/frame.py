"""A plane frame of Timoshenko beams, solved by matrices: what the solid constructs are held against."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from pipeline.fem.space import Array, Flags


@dataclass(frozen=True)
class BarSection:
    """Stiffness of a bar's cross-section.

    Parameters
    ----------
    EA, EI, GA : float
        Against stretching, N, bending, N·mm², and shear, N; the last with its shear coefficient.
    """

    EA: float
    EI: float
    GA: float

    @classmethod
    def rectangle(cls, E: float, nu: float, width: float, height: float) -> BarSection:
        """A bar bent across its height, mm; shear coefficient of Cowper 1966 (as quoted)."""
        area, G = width * height, E / 2 / (1 + nu)
        return cls(E * area, E * width * height**3 / 12, 10 * (1 + nu) / (12 + 11 * nu) * G * area)

    @classmethod
    def circle(cls, E: float, nu: float, diameter: float) -> BarSection:
        """A round bar; shear coefficient of Cowper 1966 (as quoted)."""
        area, G = np.pi / 4 * diameter**2, E / 2 / (1 + nu)
        return cls(E * area, E * np.pi / 64 * diameter**4, 6 * (1 + nu) / (7 + 6 * nu) * G * area)

    def times(self, factor: float) -> BarSection:
        """The same section of a stiffer material."""
        return BarSection(factor * self.EA, factor * self.EI, factor * self.GA)


@dataclass(frozen=True)
class Bar:
    """A bar between two joints."""

    start: int
    end: int
    section: BarSection


def solve_frame(joints: Array, bars: Sequence[Bar], forces: Array, held: Flags) -> Array:
    """Displacements of the joints.

    Parameters
    ----------
    joints : Array
        Positions (n, 2), mm.
    bars : sequence of Bar
        Bars, welded to each other at the joints.
    forces : Array
        Forces and moment at each joint (n, 3), N and N·mm.
    held : Flags
        Which of x, y and rotation are held (n, 3).

    Returns
    -------
    Array
        Displacements and rotation of each joint (n, 3), mm and radians.
    """
    K = np.zeros((3 * len(joints), 3 * len(joints)))
    for bar in bars:
        unknowns = np.concatenate([3 * bar.start + np.arange(3), 3 * bar.end + np.arange(3)])
        K[np.ix_(unknowns, unknowns)] += _bar_matrix(joints[bar.end] - joints[bar.start], bar.section)
    free = ~held.ravel()
    u = np.zeros(free.size)
    u[free] = np.linalg.solve(K[np.ix_(free, free)], forces.ravel()[free])
    return u.reshape(-1, 3)


def _bar_matrix(along: Array, section: BarSection) -> Array:
    """Stiffness (6, 6) of a bar that shears (read in open code), turned into the frame's axes."""
    L = float(np.linalg.norm(along))
    phi = 12 * section.EI / (section.GA * L**2)
    a, b = section.EA / L, 12 * section.EI / L**3 / (1 + phi)
    c, d, e = b * L / 2, b * L**2 * (4 + phi) / 12, b * L**2 * (2 - phi) / 12
    own = np.array([
        [a, 0, 0, -a, 0, 0],
        [0, b, c, 0, -b, c],
        [0, c, d, 0, -c, e],
        [-a, 0, 0, a, 0, 0],
        [0, -b, -c, 0, b, -c],
        [0, c, e, 0, -c, d],
    ])  # fmt: skip
    x, y = along / L
    turn = np.kron(np.eye(2), np.array([[x, y, 0], [-y, x, 0], [0, 0, 1]]))
    return turn.T @ own @ turn
