"""A meshed case in a few hundred coordinates, and how everything is read from them."""

from __future__ import annotations

from dataclasses import dataclass

from pipeline.reduced.model import Reduced
from pipeline.reduced.readout import Readout


@dataclass(frozen=True)
class Twin:
    """What answers for a case at any materials, loads and play, without its mesh."""

    model: Reduced
    readout: Readout
