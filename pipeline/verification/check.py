"""What a verification case says: a number, what it should be, and who says so."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Literal

Known = Literal["from memory", "derived", "read", "recomputed"]
"""How we know the expected number: recalled from the source, derived here from statics or elasticity,
read in the source, or recomputed by an independent program."""
Rule = Literal["share", "difference", "at least"]


@dataclass(frozen=True)
class Check:
    """One computed number beside the expected one.

    Parameters
    ----------
    quantity, unit : str
        What was computed.
    computed, expected : float
        In that unit.
    tolerance : float
        Largest error allowed: a share of the expected value, or a difference in its unit.
    source : str
        Where the expected value comes from.
    known : str
        How we know it.
    rule : str
        ``share`` of the expected value, ``difference`` from it, or ``at least`` as large.
    """

    quantity: str
    unit: str
    computed: float
    expected: float
    tolerance: float
    source: str
    known: Known
    rule: Rule = "share"

    @property
    def error(self) -> float:
        """Signed error, by the check's own rule; an excess is none where a number is a lower limit."""
        if self.rule == "share":
            return self.computed / self.expected - 1
        difference = self.computed - self.expected
        return min(difference, 0.0) if self.rule == "at least" else difference

    @property
    def in_words(self) -> tuple[str, str]:
        """Error and tolerance as a person reads them."""
        if self.rule == "share":
            return f"{100 * self.error:+.2f} %", f"{100 * self.tolerance:g} %"
        if self.rule == "at least":
            return (f"{self.error:.2g}" if self.error else "none"), "none below"
        return f"{self.error:.1e}", f"{self.tolerance:.0e}"

    @property
    def passed(self) -> bool:
        """Whether the error is allowed; a number that is none is not."""
        return abs(self.error) <= self.tolerance


@dataclass(frozen=True)
class Problem:
    """A case with one mesh or a few.

    Parameters
    ----------
    name : str
        Short name, for the command line.
    title : str
        What it is, in a line.
    run : callable
        Solves it and yields its checks.
    quick : bool
        Whether it takes seconds, not minutes.
    """

    name: str
    title: str
    run: Callable[[], Iterator[Check]]
    quick: bool = True
