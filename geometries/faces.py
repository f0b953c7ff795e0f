"""The face of a bone end: a plane across the shaft, tilted or rough, as a height over x and y."""

from __future__ import annotations

from dataclasses import dataclass, replace
from math import cos, pi

import numpy as np

from geometries.frame import Points, Vector

WAVES = 6
PER_WAVE = 4  # control points of the spline in a wavelength
CLAMPED = 4  # control points at each end between which a clamped cubic spline is not yet uniform


@dataclass(frozen=True)
class Wave:
    """One sine of a rough face: wave vector, rad/mm, phase, rad, and height, mm."""

    across: tuple[float, float]
    phase: float
    height: float


@dataclass(frozen=True)
class Face:
    """A face across the shaft: z = height + slope · (x, y) + waves.

    Parameters
    ----------
    height : float
        On the shaft axis, without the waves, mm.
    slope : (float, float)
        Rise per mm medially and anteriorly.
    waves : tuple of Wave
        Roughness; empty for a plane.
    reach : float
        Half of the side of the square on which a rough face is known, mm.
    """

    height: float
    slope: tuple[float, float] = (0.0, 0.0)
    waves: tuple[Wave, ...] = ()
    reach: float = 40.0

    @property
    def is_level(self) -> bool:
        """Whether it is a plane z = height."""
        return self.slope == (0.0, 0.0) and not self.waves

    @classmethod
    def through(cls, point: Vector, normal: Vector) -> Face:
        """The plane through a point, mm, with a normal that points up."""
        x, y = -normal[0] / normal[2], -normal[1] / normal[2]
        return cls(point[2] - x * point[0] - y * point[1], (x, y))

    @property
    def normal(self) -> Vector:
        """Unit normal of the plane without the waves, pointing proximally."""
        x, y = self.slope
        size = (1 + x * x + y * y) ** 0.5
        return (-x / size, -y / size, 1 / size)

    @property
    def plane(self) -> Face:
        """The face without its waves."""
        return replace(self, waves=())

    def at(self, x: Points | float, y: Points | float) -> Points:
        """Height z over points, mm."""
        z = self.height + self.slope[0] * np.asarray(x) + self.slope[1] * np.asarray(y)
        for wave in self.waves:
            z = z + wave.height * np.sin(wave.across[0] * x + wave.across[1] * y + wave.phase)
        return np.asarray(z)

    def extent(self, radius: float) -> tuple[float, float]:
        """Heights between which it lies within a radius of the shaft axis, mm."""
        rise = radius * float(np.hypot(*self.slope)) + sum(abs(wave.height) for wave in self.waves)
        return self.height - rise, self.height + rise

    def towards(self, other: Face, share: float) -> Face:
        """The face between this one (share 0) and another one (share 1)."""
        if self.waves == other.waves:
            waves = self.waves
        else:
            waves = tuple(
                replace(wave, height=part * wave.height)
                for face, part in ((self, 1 - share), (other, share))
                for wave in face.waves
            )

        def mix(a: float, b: float) -> float:
            return (1 - share) * a + share * b

        return Face(
            mix(self.height, other.height),
            (mix(self.slope[0], other.slope[0]), mix(self.slope[1], other.slope[1])),
            waves,
            self.reach,
        )

    def controls(self) -> tuple[Points, int]:
        """Control points (n², 3), mm, of a uniform cubic spline surface through it, and n.

        The spline damps a sine of wave number k on a grid of step h by (2 + cos k h) / 3 in each
        direction; the heights are raised by as much. Its ends are clamped, so the grid goes on beyond
        the reach until it is uniform within. A plane needs four points and is not raised.
        """
        if not self.waves:
            steps = np.array([-self.reach, self.reach])
            x, y = np.meshgrid(steps, steps)
            return np.stack([x, y, self.at(x, y)], axis=-1).reshape(-1, 3), 2
        number = float(np.hypot(*self.waves[0].across))
        inside = int(np.ceil(2 * self.reach * number * PER_WAVE / (2 * pi)))
        step, count = 2 * self.reach / inside, inside + 1 + 2 * CLAMPED
        steps = (np.arange(count) - (count - 1) / 2) * step
        raised = []
        for wave in self.waves:
            kept = [(2 + cos(k * step)) / 3 for k in wave.across]
            raised.append(replace(wave, height=wave.height / (kept[0] * kept[1])))
        x, y = np.meshgrid(steps, steps)
        z = replace(self, waves=tuple(raised)).at(x, y)
        return np.stack([x, y, z], axis=-1).reshape(-1, 3), count


def rough(face: Face, amplitude: float, wavelength: float, seed: int) -> Face:
    """A plane face made rough by sines of one length in random directions.

    Parameters
    ----------
    face : Face
        The plane.
    amplitude : float
        Largest departure from it within its reach, mm.
    wavelength : float
        mm.
    seed : int
        Chooses directions and phases.
    """
    random = np.random.default_rng(seed)
    number = 2 * pi / wavelength
    directions, phases = random.uniform(0, 2 * pi, (2, WAVES))
    waves = tuple(
        Wave((float(number * np.cos(turn)), float(number * np.sin(turn))), float(phase), 1.0)
        for turn, phase in zip(directions, phases, strict=True)
    )
    steps = np.linspace(-face.reach, face.reach, 160)
    x, y = np.meshgrid(steps, steps)
    largest = float(np.abs(Face(0.0, waves=waves).at(x, y))[np.hypot(x, y) < face.reach].max())
    return replace(face, waves=tuple(replace(wave, height=amplitude / largest) for wave in waves))
