"""Errors of the running pipeline; each message is a sentence for the person at the keyboard."""

from __future__ import annotations

from geometries.errors import StudyError


class MeshError(StudyError):
    """A geometry could not be meshed well enough."""


class SolveError(StudyError):
    """Displacements could not be found, or do not pass their check."""


class OutputError(StudyError):
    """Results could not be written."""
