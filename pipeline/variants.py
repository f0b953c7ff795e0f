"""The studies that a design asks for (placeholder until designs are merged)."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from pipeline.config import StudyConfig


@dataclass(frozen=True)
class Variant:
    """One point of a design."""

    name: str
    point: Mapping[str, object]
    study: StudyConfig | None
    reason: str = ""


def variants_of(study: StudyConfig) -> tuple[Variant, ...]:
    """The study itself."""
    return (Variant("", {}, study),)
