"""Which cases of a bundle are run again: those that span its study, or are named or claimed about."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from difflib import get_close_matches

from geometries.errors import StudyError
from pipeline.run.case import Case
from pipeline.run.sampling import spread
from pipeline.sharing.claims import Claim
from pipeline.tables.rows import label_of


@dataclass(frozen=True)
class Choice:
    """What is asked for; all cases if nothing is.

    Parameters
    ----------
    subset : int, optional
        So many cases that span the study.
    constructs : tuple of str
        Names of constructs, which are those of every variant, or labels with the variant's name.
    claims : tuple of int
        Numbers of claims in the bundle's file, counted from 1.
    """

    subset: int | None = None
    constructs: tuple[str, ...] = ()
    claims: tuple[int, ...] = ()

    def labels(self, cases: Sequence[Case], claims: Sequence[Claim]) -> tuple[str, ...]:
        """Labels of the cases to run, in the order of the study; none stands for all.

        What a chosen construct is compared with in a claim about it is run too.

        Raises
        ------
        StudyError
            If a construct or a claim is not in the bundle.
        """
        chosen = {label for name in self.constructs for label in _named(name, cases)}
        if self.subset is not None:
            chosen |= set(spread(cases, self.subset))
        for number in self.claims:
            chosen |= set(_needed(_numbered(number, claims)))
        asked = frozenset(chosen)
        for claim in claims:
            about, *others = _needed(claim)
            chosen |= set(others) if about in asked else set()
        return tuple(case.label for case in cases if case.label in chosen)


def _needed(claim: Claim) -> Iterator[str]:
    """Labels of the cases that a claim rests on, first that which it is about."""
    yield from (label_of(claim.variant, name) for name in claim.constructs)


def _named(name: str, cases: Sequence[Case]) -> list[str]:
    found = [case.label for case in cases if name in (case.label, case.name)]
    if not found:
        known = list(dict.fromkeys(word for case in cases for word in (case.name, case.label)))
        near = ", ".join(get_close_matches(name, known, 5, 0.0))
        raise StudyError(
            f"--construct {name}: is not in the bundle; the nearest allowed are {near}: correct it"
        )
    return found


def _numbered(number: int, claims: Sequence[Claim]) -> Claim:
    if not 1 <= number <= len(claims):
        allowed = f"allowed 1 to {len(claims)}" if claims else "it has no claims"
        raise StudyError(
            f"--claim {number}: is not in the bundle; {allowed}: correct it, or choose by --construct"
        )
    return claims[number - 1]
