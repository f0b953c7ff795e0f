"""Plates: two standard benchmarks, a hole in a strip, and the corner of an L."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from math import pi

import numpy as np
from scipy.optimize import brentq

from pipeline.fem.space import Array, Flags
from pipeline.verification.blocks import mapped_block
from pipeline.verification.body import Body
from pipeline.verification.check import Check, Problem

NAFEMS = "NAFEMS TNSB Rev. 3, The Standard NAFEMS Benchmarks, 1990, test {}"
TIGHT = 1e-9


def crowded(count: int, power: float) -> Array:
    """Grid lines from 0 to 1 (count + 1,), closest at 0."""
    return np.linspace(0, 1, count + 1) ** power


def ellipse(places: Array) -> Array:
    """A quarter of an elliptic plate, from (across, round, up); metres."""
    across, angle, z = places[:, 0], places[:, 1] * pi / 2, places[:, 2]
    x = (2.0 + 1.25 * across) * np.cos(angle)
    y = (1.0 + 1.75 * across) * np.sin(angle)
    return np.column_stack([x, y, z])


def quarter_ellipse(across: int, rounds: int, up: Array) -> Body:
    """The plate of LE1 and LE10: finest at the inner end of its long axis."""
    area = pi / 4 * (3.25 * 2.75 - 2.0 * 1.0)
    ticks = (crowded(across, 1.6), crowded(rounds, 1.4), up)
    return Body(mapped_block(ticks, area * float(up[-1]), ellipse), ((210e3, 0.3),))


def on_rim(places: Array) -> Flags:
    """Which places lie on the outer ellipse."""
    return np.abs((places[:, 0] / 3.25) ** 2 + (places[:, 1] / 2.75) ** 2 - 1) < 1e-6


def level(axis: int) -> Callable[[Array], Flags]:
    """Which places lie on the plane through the origin across an axis."""
    return lambda places: np.abs(places[:, axis]) < TIGHT


def membrane() -> Iterator[Check]:
    """LE1: an elliptic membrane, pulled outwards at its rim."""
    body = quarter_ellipse(14, 16, np.array([0.0, 0.05]))
    held = body.held(x=level(0), y=level(1), z=level(2))  # the last is the middle plane
    forces = body.traction(body.faces(on_rim), lambda _, normal: 10.0 * normal)
    u = body.solve(forces, held).displacement
    stress = body.stress_at(body.node_at((2.0, 0.0, 0.0)), u)[1]
    yield Check("stress along y at D", "MPa", stress, 92.7, 0.01, NAFEMS.format("LE1"), "read")


def thick_plate() -> Iterator[Check]:
    """LE10: a thick elliptic plate under pressure."""
    body = quarter_ellipse(12, 14, np.array([0.0, 0.15, 0.3, 0.42, 0.51, 0.57, 0.6]))
    held = body.held(
        x=lambda p: level(0)(p) | on_rim(p),
        y=lambda p: level(1)(p) | on_rim(p),
        z=lambda p: on_rim(p) & (np.abs(p[:, 2] - 0.3) < TIGHT),
    )
    top = body.faces(lambda p: np.abs(p[:, 2] - 0.6) < TIGHT)
    u = body.solve(body.traction(top, lambda _, normal: -normal), held).displacement
    node = body.node_at((2.0, 0.0, 0.6))
    source = NAFEMS.format("LE10")
    yield Check("stress along y at D", "MPa", body.stress_at(node, u)[1], -5.38, 0.02, source, "read")


# --- A hole in a strip -------------------------------------------------------------------------------

RADIUS, HALF_WIDTH, HALF_LENGTH = 3.0, 10.0, 30.0


def strip(places: Array) -> Array:
    """A quarter of a strip with a hole, from (outwards, round, up); its corner at half-way."""
    out, turn, z = places.T
    up = np.minimum(2 * turn, 1)
    rim = np.column_stack([np.cos(turn * pi / 2), np.sin(turn * pi / 2)]) * RADIUS
    edge = np.column_stack(
        [HALF_WIDTH * np.minimum(2 - 2 * turn, 1), HALF_LENGTH * (0.3 + 0.7 * up) * up]
    )
    flat = rim + out[:, None] * (edge - rim)
    return np.column_stack([flat, z])


def hole() -> Iterator[Check]:
    """A strip with a hole in tension: stress beside the hole over that in the whole strip."""
    area = HALF_WIDTH * HALF_LENGTH - pi / 4 * RADIUS**2
    ticks = (crowded(16, 1.7), np.linspace(0, 1, 33), np.array([0.0, 0.5]))
    body = Body(mapped_block(ticks, 0.5 * area, strip), ((110e3, 0.33),))
    # Plane strain: stress in the plane does not depend on it.
    held = body.held(x=level(0), y=level(1), z=lambda p: np.isfinite(p[:, 2]))
    end = body.faces(lambda p: p[:, 1] > HALF_LENGTH - TIGHT)
    u = body.solve(body.traction(end, lambda _, normal: normal), held).displacement
    found = body.stress_at(body.node_at((RADIUS, 0.0, 0.0)), u)[1]
    wide = RADIUS / HALF_WIDTH
    net = 3 - 3.13 * wide + 3.66 * wide**2 - 1.53 * wide**3
    source = "Roark's Formulas for Stress and Strain, table 17.1, on an open page"
    yield Check("stress over gross stress", "1", found, net / (1 - wide), 0.02, source, "read")


# --- The corner of an L ------------------------------------------------------------------------------


def corner() -> Iterator[Check]:
    """An L whose arms are bent apart: how fast stress grows towards the corner."""
    lines = crowded(16, 3.0)
    lines = np.concatenate([-lines[:0:-1], lines])
    ticks = (lines, lines, np.array([0.0, 0.02]))
    block = mapped_block(ticks, 3 * 0.02, keep=lambda p: (p[:, 0] < 0) | (p[:, 1] > 0))
    body = Body(block, ((1000.0, 0.3),))
    far = lambda p: (p[:, 0] < -1 + TIGHT) | (p[:, 1] > 1 - TIGHT)  # noqa: E731
    held = body.held(x=far, y=far, z=lambda p: np.isfinite(p[:, 2]))
    right = body.pulled(body.faces(lambda p: p[:, 0] > 1 - TIGHT), np.array([0.0, 1.0, 0.0]))
    down = body.pulled(body.faces(lambda p: p[:, 1] < -1 + TIGHT), np.array([-1.0, 0.0, 0.0]))
    u = body.solve(right + down, held).displacement[:, :, 0]
    apart = [
        (r, u[body.node_at((r, 0.0, 0.0)), 1] - u[body.node_at((0.0, -r, 0.0)), 0])
        for r in lines[(lines > 0.003) & (lines < 0.06)]
    ]
    start = u[body.node_at((0.0, 0.0, 0.0))]
    r, opening = np.array(apart).T
    slope = np.polyfit(np.log(r), np.log(opening - (start[1] - start[0])), 1)[0]
    # Free faces at 270 degrees, symmetric about their bisector.
    exponent = brentq(lambda x: np.sin(1.5 * pi * x) + x * np.sin(1.5 * pi), 0.3, 0.8)
    source = "Williams 1952, J Appl Mech 19:526, as open codes have it: root of sin(3πx/2) = x"
    yield Check("exponent of opening", "1", float(slope), float(exponent), 0.01, source, "read")


PROBLEMS = (
    Problem("membrane", "Elliptic membrane, outward pull at its rim (LE1)", membrane),
    Problem("thick-plate", "Thick elliptic plate under pressure (LE10)", thick_plate),
    Problem("hole", "Hole in a strip, 30 % of its width, in tension", hole),
    Problem("corner", "Corner of an L: a stress without a value", corner, quick=False),
)
