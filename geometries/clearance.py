"""Distances between solids, checked before any mesh exists."""

from __future__ import annotations

from itertools import combinations, product

import numpy as np

from geometries.errors import StudyError
from geometries.solids import Frustum, Part, Points, Prism, radial

APART_MM = 0.5


def axis_distance(one: Frustum, other: Frustum) -> float:
    """Least distance of two bars' axes between their ends, mm.

    Closest points of two segments: the unconstrained pair, clamped to one segment and then to the
    other (any text on computational geometry).
    """
    p, q = np.asarray(one.base), np.asarray(other.base)
    u, v = np.asarray(one.axis), np.asarray(other.axis)
    w = p - q
    a, b, c, d, e = u @ u, u @ v, v @ v, u @ w, v @ w
    across = a * c - b * b
    s = np.clip((b * e - c * d) / across, 0, 1) if across > 1e-9 * a * c else 0.0
    t = np.clip((b * s + e) / c, 0, 1)
    s = np.clip((b * t - d) / a, 0, 1)
    return float(np.linalg.norm(w + s * u - t * v))


def check_apart(name: str, plates: list[list[Part]], bolts: list[list[Part]]) -> None:
    """Refuse two plates that overlap, or whose screws meet each other or the other plate, or bolts.

    Parameters
    ----------
    name : str
        The construct.
    plates : list of list of Part
        Parts of each plate: the plate, then its screws.
    bolts : list of list of Part
        Bolts to keep away from, each in a list of its own.

    Raises
    ------
    StudyError
        With one line per finding.
    """
    findings = []
    for one, other in [*combinations(plates, 2), *product(plates, bolts)]:
        for a, b in product(one, other):
            if b.contains(_within(a)).any() or a.contains(_within(b)).any():
                findings.append(
                    f"construct {name!r}: {a.name} and {b.name} are less than {APART_MM:g} mm apart; "
                    "allowed is more: change a plate's azimuth_deg, shift_mm or holes, or "
                    "use cortices = 'unicortical'"
                )
    if findings:
        raise StudyError("\n".join(findings))


def _within(part: Part) -> Points:
    """Points (n, 3) spread over a plate or screw, and over a thin layer round it, mm."""
    solid = part.pieces[-1].solid
    if isinstance(solid, Frustum):
        axis = np.asarray(solid.axis) / solid.height
        up = np.array([0.0, 0.0, 1.0])
        turn = np.linspace(0, 2 * np.pi, 16, endpoint=False)
        ring = np.outer(np.cos(turn), up) + np.outer(np.sin(turn), np.cross(axis, up))
        along = np.linspace(0, solid.height, 120)[:, None, None] * axis
        return np.asarray(solid.base + along + (solid.radius + APART_MM) * ring).reshape(-1, 3)
    out, across = np.asarray(radial(solid.azimuth_deg)), np.asarray(solid.sweep)
    inner, outer = (np.array(p.solid.outline) for p in (part.pieces[0], part.pieces[-1])
                    if isinstance(p.solid, Prism))  # fmt: skip
    heights = np.linspace(inner[0, 1], inner[len(inner) // 2 - 1, 1], 200)
    half = len(inner) // 2
    low = np.interp(heights, inner[:half, 1], inner[:half, 0]) - APART_MM
    high = np.interp(heights, outer[half:, 1][::-1], outer[half:, 0][::-1]) + APART_MM
    depth = low[:, None] + np.linspace(0, 1, 5) * (high - low)[:, None]
    side = np.linspace(-0.5, 0.5, 17) * (1 + 2 * APART_MM / solid.width)
    points = (
        depth[:, :, None, None] * out
        + side[None, None, :, None] * across
        + heights[:, None, None, None] * np.array([0.0, 0.0, 1.0])
    )
    return np.asarray(points).reshape(-1, 3)
