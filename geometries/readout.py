"""Where forces are read: bolts and screws as pins, nail and plate as beams."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Pin:
    """A bolt or screw as a beam along a radius: where its forces are read.

    Parameters
    ----------
    name : str
        Its part.
    height : float
        Along the shaft, mm.
    azimuth_deg : float
        Side of the bone to which its axis points (from tip to head), degrees.
    diameter : float
        Diameter, mm.
    planes : dict
        Distance from the shaft axis of each cut across the pin, mm, negative on the far side.
    """

    name: str
    height: float
    azimuth_deg: float
    diameter: float
    planes: dict[str, float]


@dataclass(frozen=True)
class Beam:
    """A nail or plate as a beam along the shaft: what a nominal stress needs.

    Parameters
    ----------
    part : str
        Its part.
    area : float
        Cross-section, mm².
    axes : tuple of two (float, float)
        The two principal axes across the shaft (x, y).
    moduli : (float, float)
        Section moduli about them, mm³.
    is_round : bool
        Whether bending about both adds as a vector, as in a tube.
    """

    part: str
    area: float
    axes: tuple[tuple[float, float], tuple[float, float]]
    moduli: tuple[float, float]
    is_round: bool
