"""Errors of the running pipeline; each message is a sentence for the person at the keyboard."""

from __future__ import annotations

from geometries.errors import StudyError


class MeshError(StudyError):
    """A geometry could not be meshed well enough.

    Parameters
    ----------
    message : str
        The sentence.
    places : tuple of str or float
        Parts by name, or round surfaces by radius, mm, that need shorter edges.
    """

    def __init__(self, message: str, places: tuple[str | float, ...] = ()) -> None:
        super().__init__(message)
        self.places = places


class SolveError(StudyError):
    """Displacements could not be found, or do not pass their check."""


class OutputError(StudyError):
    """Results could not be written."""


class StoppedError(StudyError):
    """Somebody stopped the run."""


class EngineError(StudyError):
    """Jobs could not be handed to workers."""
