"""The one error a person sees when an input can not be built."""

from __future__ import annotations


class StudyError(ValueError):
    """A study, a geometry or a run that can not go on, said in one sentence.

    The sentence names the place, the value found, what is allowed and what to do.
    """
