"""What is written beside a drawing: the names of what is shown, the gap and the nail in words."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from geometries.faces import Face
from geometries.facts import in_words
from geometries.solids import Frustum, Geometry, Part, Prism, Sector

SIDES = (
    "lateral", "anterolateral", "anterior", "anteromedial", "medial", "posteromedial", "posterior",
    "posterolateral",
)  # fmt: skip
LEAST = 1e-3  # mm or mm/mm that count as different from zero


def shown(part: Part) -> str:
    """What a part counts as in a drawing: its role, or what makes it different."""
    if part.role == "gap" and part.material.startswith("cortical"):
        return "cortex"
    if part.name == "bridge":
        return "bridge"
    if part.name == "bed":
        return "cement" if part.material == "cement" else "cancellous"
    return part.role


def has_gap(geometry: Geometry) -> bool:
    """Whether tissue stands in a gap; in an intact bone there is bone in its place."""
    return any(part.name == "gap" and shown(part) == "gap" for part in geometry.parts)


def side(azimuth_deg: float) -> str:
    """Name of a side of the bone."""
    return SIDES[round(azimuth_deg / 45) % 8]


def gap_words(geometry: Geometry) -> list[str]:
    """Lines that say what the gap is like."""
    gap = geometry.gap
    assert gap is not None
    if not has_gap(geometry):
        return ["no gap", f"read over {gap.length:.3g} mm", f"{gap.height:.0f} mm up"]
    opening = np.subtract(gap.upper.slope, gap.lower.slope)
    wedge = 2 * gap.radius * float(np.hypot(*opening))
    least, most = gap.length - wedge / 2, gap.length + wedge / 2
    words = [f"gap {least:.3g} mm"]
    if wedge > LEAST:
        words = [f"gap {least:.3g} to {most:.3g} mm", f"wider on {_towards(*opening)} side"]
    rise = float(np.hypot(*gap.middle.slope))
    if rise > LEAST:
        angle = float(np.degrees(np.arctan(rise)))
        words += [f"oblique {angle:.3g}°", f"higher on {_towards(*gap.middle.slope)} side"]
    if gap.lower.waves:
        fit = "matching" if gap.lower.waves == gap.upper.waves else "unlike"
        words.append(f"rough ±{_amplitude(gap.lower):.2g} mm, {fit} faces")
    words += [f"{share:.3g} % bridged, {where} side" for share, where in _bridges(geometry)]
    return [*words, f"{gap.height:.0f} mm up"]


def _towards(x: float, y: float) -> str:
    """Name of the side to which a horizontal vector points."""
    return side(float(np.degrees(np.arctan2(y, -x))))


def _amplitude(face: Face) -> float:
    """Largest departure of a rough face from its plane, mm."""
    steps = np.linspace(-face.reach, face.reach, 160)
    x, y = np.meshgrid(steps, steps)
    away = np.abs(face.at(x, y) - face.plane.at(x, y))
    return float(away[np.hypot(x, y) < face.reach].max())


def _bridges(geometry: Geometry) -> Iterator[tuple[float, str]]:
    """Share of the gap that is bridged, percent, and on which side."""
    for part in geometry.parts:
        cuts = part.pieces[0].cuts if part.name == "bridge" else ()
        for cut in cuts:
            if isinstance(cut, Sector):  # what is left of the gap
                yield (360 - cut.angle_deg) / 3.6, side(cut.azimuth_deg - 180)


def facts(geometry: Geometry) -> list[str]:
    """Lines with the numbers that a surgeon would ask for."""
    words = in_words(geometry.facts)
    for part in geometry.parts:
        if part.role == "nail" and geometry.gap is not None:
            words += _nail(part)
    return words


def _nail(part: Part) -> Iterator[str]:
    """What is unusual about a nail."""
    solids = [piece.solid for piece in part.pieces if isinstance(piece.solid, Frustum)]
    first, last = solids[0], solids[-1]
    top = np.add(last.base, last.axis)
    for end, (x, y, _) in (("distal", first.base), ("proximal", top)):
        if abs(x) + abs(y) > LEAST:
            where = [
                f"{abs(by):.3g} mm {names[int(by > 0)]}"
                for by, names in ((x, ("lateral", "medial")), (y, ("posterior", "anterior")))
                if abs(by) > LEAST
            ]
            yield f"nail's {end} end {' and '.join(where)} of the shaft axis"
    tilt = float(np.degrees(np.arctan2(np.hypot(*first.axis[:2]), first.axis[2])))
    if tilt > LEAST:
        yield f"nail tilted {tilt:.2f}°"
    cuts = part.pieces[-1].cuts
    if not any(isinstance(cut, Frustum) for cut in cuts):
        yield "nail solid"
    for cut in cuts:
        if isinstance(cut, Prism):
            yield f"nail slotted {cut.width:.3g} mm wide on its {side(cut.azimuth_deg)} side"
    gaps = [b.base[2] - a.base[2] - a.axis[2] for a, b in zip(solids[::2], solids[2::2], strict=False)]
    yield from (f"nail broken, ends {wide:.2g} mm apart" for wide in gaps)
