"""Rigid fragments joined by elastic implants: whole constructs with a closed form."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import pairwise

import numpy as np

from geometries.solids import Geometry, Part, Patch, Piece, Prism, Role, cylinder, radial
from pipeline.fem.meshing.mesher import build_mesh
from pipeline.fem.space import Array, Flags
from pipeline.verification.body import Body
from pipeline.verification.check import Check, Problem
from pipeline.verification.frame import Bar, BarSection, solve_frame

STATICS = "statics and beam theory: {}"
E, NU = 110e3, 0.0  # no contraction across, as in beam theory: a clamp then restrains nothing
RIGID = 100.0
ELASTIC, STIFF = (E, NU), (RIGID * E, NU)
OUT, UP = np.array(radial(0.0)), np.array([0.0, 0.0, 1.0])
"""Away from the shaft axis on the side of the plate, and up the shaft."""
Span = tuple[float, float]


def box(name: str, out: Span, up: Span, width: float, role: Role = "plate") -> Part:
    """A block between distances from the axis and between heights, mm."""
    (a, b), (low, high) = out, up
    prism = Prism(((a, low), (b, low), (b, high), (a, high)), 0.0, width)
    return Part(name, role, "titanium", (Piece(prism),), min(b - a, high - low, width))


def rod(name: str, out: Span, height: float, diameter: float) -> Part:
    """A round bar across the shaft between distances from the axis, mm."""
    base, axis = out[0] * OUT + height * UP, (out[1] - out[0]) * OUT
    solid = cylinder(tuple(base.tolist()), tuple(axis.tolist()), diameter)
    return Part(name, "screw", "titanium", (Piece(solid),), diameter)


def meshed(parts: Sequence[Part], rigid: Sequence[str], **levels: tuple[float, Role]) -> Body:
    """Parts as a body; rigid ones are a hundred times stiffer. Patches lie at levels of a role."""
    patches = tuple(Patch(name, z, (role,)) for name, (z, role) in levels.items())
    top = max(z for z, _ in levels.values())
    geometry = Geometry(tuple(parts), patches, top, (0.0, top), None, {})
    constants = tuple(STIFF if part.name in rigid else ELASTIC for part in parts)
    return Body(build_mesh(geometry, "default"), constants)


def ground(body: Body) -> Flags:
    """All components of the lowest nodes."""
    low = lambda p: p[:, 2] < p[:, 2].min() + 1e-9  # noqa: E731
    return body.held(x=low, y=low, z=low)


def plate_over_gap() -> Iterator[Check]:
    """A plate beside an empty gap between rigid fragments, loaded along the axis of the bone."""
    free, radius, width, thickness, stand_off = 60.0, 14.0, 17.5, 5.2, 1.0
    inside, outside = radius + stand_off, radius + stand_off + thickness
    parts = (
        box("lower", (-radius, outside), (0.0, 40.0), 28.0, "cortex"),
        box("upper", (-radius, outside), (40.0 + free, 80.0 + free), 28.0, "cortex"),
        box("plate", (inside, outside), (40.0, 40.0 + free), width),
    )
    top = 80.0 + free
    body = meshed(parts, ("lower", "upper"), below=(40.0, "cortex"), above=(40.0 + free, "cortex"),
                  proximal_end=(top, "cortex"))  # fmt: skip
    pressed = -1000.0 * body.unit_loads("proximal_end", (0.0, 0.0, top))[:, :, 2:3]
    found = body.solve(pressed, ground(body))
    below, above = body.motion("below", found), body.motion("above", found)
    arm = inside + thickness / 2
    EA, EI = E * width * thickness, E * width * thickness**3 / 12
    for name, out in (("near cortex", radius), ("axis", 0.0), ("far cortex", -radius)):
        moved = above.at(out * OUT + (40.0 + free) * UP) - below.at(out * OUT + 40.0 * UP)
        closed = 1000.0 * free * (1 / EA + arm * (arm - out) / EI)
        source = STATICS.format("closure P L/EA + P e y L/EI of a plate at a distance e")
        yield Check(
            f"closure at the {name}", "mm/kN", float(-moved[2, 0]), closed, 0.005, source, "derived"
        )


def double_shear() -> Iterator[Check]:
    """A bolt through a rigid nail, with a clearance to rigid bone on both sides."""
    reach, clearance, diameter = 5.0, 12.0, 4.0
    wall = reach + clearance
    parts = (
        box("nail", (-reach, reach), (3.0, 17.0), 10.0, "nail"),
        box("lateral", (wall, wall + 8.0), (0.0, 20.0), 10.0, "cortex"),
        box("medial", (-wall - 8.0, -wall), (0.0, 20.0), 10.0, "cortex"),
        rod("bolt_1", (reach, wall), 10.0, diameter),
        rod("bolt_2", (-wall, -reach), 10.0, diameter),
    )
    body = meshed(parts, ("nail", "lateral", "medial"), top=(17.0, "nail"))
    found = body.solve(-body.unit_loads("top")[:, :, 2:3], ground(body))
    section = BarSection.circle(E, NU, diameter)
    give = clearance**3 / (12 * section.EI) + clearance / section.GA
    stiffness = 1 / float(-body.motion("top", found).translation[2, 0])
    source = STATICS.format("two bars built in at both ends, L³/12EI + L/kGA")
    yield Check("stiffness", "N/mm", stiffness, 2 / give, 0.01, source, "derived")
    lateral = body.mesh.nodes @ OUT > 0
    share = float(found.reaction[lateral, 2].sum())
    yield Check("share of one side", "1", share, 0.5, 0.001, STATICS.format("symmetry"), "derived")


# --- A plate held off a beam by screws ---------------------------------------------------------------

SCREWS = (30.0, 60.0, 110.0, 140.0)
GAP: Span = (82.0, 88.0)
TOP, HALF, WIDTH, DIAMETER = 170.0, 7.0, 14.0, 5.0
PLATE: Span = (17.0, 21.0)
GRIP = 3.0  # half the length of beam and plate that a screw holds stiffly


def held_off() -> Iterator[Check]:
    """A plate on four screws over a gap in a beam, against a plane frame."""
    marks = sorted(z + side * GRIP for z in SCREWS for side in (-1, 1))
    gripped = {(z - GRIP, z + GRIP) for z in SCREWS}
    beam = [s for s in pairwise([0.0, *marks[:4], *GAP, *marks[4:], TOP]) if s != GAP]
    plate = list(pairwise(marks))
    parts = [
        *(box(f"beam_{n}", (-HALF, HALF), s, WIDTH, "cortex") for n, s in enumerate(beam)),
        *(box(f"plate_{n}", PLATE, s, WIDTH) for n, s in enumerate(plate)),
        *(rod(f"screw_{n}", (HALF, PLATE[0]), z, DIAMETER) for n, z in enumerate(SCREWS)),
    ]
    rigid = [f"{what}_{n}" for what, spans in (("beam", beam), ("plate", plate))
             for n, span in enumerate(spans) if span in gripped]  # fmt: skip
    body = meshed(parts, rigid, proximal_end=(TOP, "cortex"))
    axis = np.cross(OUT, UP)
    unit = body.unit_loads("proximal_end")
    loads = np.stack([unit[:, :, :3] @ OUT, unit[:, :, :3] @ UP, unit[:, :, 3:] @ axis], axis=2)
    top = body.motion("proximal_end", body.solve(loads, ground(body)))
    expected = frame_of(beam, plate, gripped)
    found = np.stack([OUT @ top.translation, UP @ top.translation, axis @ top.rotation])
    source = STATICS.format("a plane frame of Timoshenko beams, solved by matrices")
    names = (("sideways, side force", "mm/N"), ("along the axis, axial force", "mm/N"),
             ("rotation, moment", "rad/(N·mm)"))  # fmt: skip
    for n, (name, unit_) in enumerate(names):
        yield Check(name, unit_, float(found[n, n]), float(expected[n, n]), 0.01, source, "derived")


def frame_of(beam: list[Span], plate: list[Span], gripped: set[Span]) -> Array:
    """Movement (3, 3) of the beam's top under unit force sideways, unit force up and unit moment."""
    thickness = PLATE[1] - PLATE[0]
    sections = {
        0.0: BarSection.rectangle(E, NU, WIDTH, 2 * HALF),
        PLATE[0] + thickness / 2: BarSection.rectangle(E, NU, WIDTH, thickness),
    }
    screw = BarSection.circle(E, NU, DIAMETER)
    places: dict[tuple[float, float], int] = {}

    def joint(x: float, y: float) -> int:
        return places.setdefault((x, y), len(places))

    bars = []
    for (x, section), spans in zip(sections.items(), (beam, plate), strict=True):
        for low, high in spans:
            if (low, high) in gripped:
                middle, rigid = (low + high) / 2, section.times(RIGID)
                bars += [
                    Bar(joint(x, low), joint(x, middle), rigid),
                    Bar(joint(x, middle), joint(x, high), rigid),
                ]
            else:
                bars.append(Bar(joint(x, low), joint(x, high), section))
    for z in SCREWS:
        path = [joint(x, z) for x in (0.0, HALF, PLATE[0], PLATE[0] + thickness / 2)]
        bars += [Bar(path[0], path[1], screw.times(RIGID)), Bar(path[1], path[2], screw),
                 Bar(path[2], path[3], screw.times(RIGID))]  # fmt: skip
    joints = np.array(list(places))
    held = np.zeros((len(joints), 3), dtype=bool)
    held[joint(0.0, 0.0)] = True
    moved = np.zeros((3, 3))
    for n in range(3):
        forces = np.zeros((len(joints), 3))
        forces[joint(0.0, TOP), n] = 1.0
        moved[:, n] = solve_frame(joints, bars, forces, held)[joint(0.0, TOP)]
    return moved


PROBLEMS = (
    Problem("plate-over-gap", "Plate beside an empty gap between rigid fragments", plate_over_gap),
    Problem("double-shear", "Bolt in double shear across a clearance", double_shear),
    Problem("held-off", "Plate held off a beam by four screws", held_off),
)
