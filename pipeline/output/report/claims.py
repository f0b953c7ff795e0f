"""``claims.html``: claims of a paper, and what a run has for each, as a page of the report's look."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from pipeline.output.graphs import Mark, Series, intervals
from pipeline.output.pages import write_framed
from pipeline.output.report.cells import Entry
from pipeline.output.report.charts import MOST_ROWS, OPEN_MARKS, Chart, words_of
from pipeline.output.report.doubts import DAGGER, flags_in
from pipeline.output.tables import number_in
from pipeline.storage.run_folder import each_row, read_inputs
from pipeline.tables.groups import grouped
from pipeline.tables.judged import (
    CLAIM_COLUMNS,
    FAILS,
    HOLDS,
    JUDGED,
    NOT_CHOSEN,
    NOT_JUDGED,
    OPEN,
    OUTSIDE,
    REPRODUCTION,
)

CLAIMS_PAGE = "claims.html"
WHERE = ("variant", "construct", "stage", "load", "location")
READ = ("quantity", "unit", "pairs", "outside", *WHERE, "a", "b", "difference", "verdict", "reason")
SAID = {HOLDS: "hold", FAILS: "fail", NOT_JUDGED: NOT_JUDGED, NOT_CHOSEN: "are not in the subset"}
SINGLE = SAID | {HOLDS: HOLDS, FAILS: FAILS, NOT_CHOSEN: "is not in the subset"}
BOUNDS = {"less_than": "less than", "greater_than": "more than"}
AXES = {"change_percent": "change, %", "ratio": "ratio"}
OPENING, MOST_CHARTS, MOST_NAMED = 4, 12, 12  # charts on the first screen and in all; claims in a list


@dataclass(frozen=True)
class JudgedClaim:
    """A claim with the number that it goes by in the page, counted from 1 as in its file."""

    number: int
    entry: Entry

    @property
    def bound(self) -> str:
        """What stands before the stated number: nothing, or which side of it is claimed."""
        return BOUNDS.get(self.entry["kind"], "")

    @property
    def is_against_another(self) -> bool:
        """Whether the stated number is another construct's, and not the paper's."""
        return bool(self.bound and self.entry["compared_with"])

    @property
    def unit(self) -> str:
        """Unit in words."""
        return AXES.get(self.entry["kind"], self.entry["unit"])

    @property
    def label(self) -> str:
        """What an axis for it shows."""
        return AXES.get(self.entry["kind"]) or f"{words_of(self.entry['quantity'])}, {self.unit}"

    @property
    def place(self) -> str:
        """Which result it rests on, in words."""
        row = self.entry
        words = [
            f"{words_of(row['quantity'])} at {row['location']}"
            if row["location"]
            else words_of(row["quantity"])
        ]
        words += [f"{name} {row[name]}" for name in ("stage", "load", "variant") if row[name]]
        return ", ".join(words)

    @property
    def is_open(self) -> bool:
        """Whether the error of the mesh leaves its verdict open."""
        return OPEN in self.entry["reason"]

    @property
    def stated(self) -> str:
        """What is claimed, in the digits of the claim or, of another construct, of this page."""
        cell = self.entry.cell("stated")
        half = f" ± {self.entry.cell('allowed').written}" if self.entry["allowed"] else ""
        return f"{self.bound} {cell.text if self.is_against_another else cell.written}{half}".strip()

    @property
    def found(self) -> str:
        """What was computed, with its error if that is known."""
        half = f" ± {self.entry.cell('error').text}" if self.entry["error"] else ", error not known"
        return f"{self.entry.cell('computed').text}{half}"


def claims_page(out: Path, versions: str, caution: str) -> Path | None:
    """Write ``claims.html`` beside ``claims.csv``, from the files of the folder alone.

    Returns
    -------
    Path or None
        The page, which loads nothing from elsewhere; None if there are no claims, and then no page.

    Raises
    ------
    StudyError
        If the folder is not that of a run whose claims were judged.
    OutputError
        If the page can not be written.
    """
    rows = enumerate(each_row(out / JUDGED, CLAIM_COLUMNS))
    claims = [JudgedClaim(number + 1, Entry("claims", number, row)) for number, row in rows]
    if not claims:
        (out / CLAIMS_PAGE).unlink(missing_ok=True)  # of claims that were there before
        return None
    inputs = read_inputs(out)
    charts = list(_charts(claims))
    content = {
        "claims": claims,
        "said": list(_said(claims)),
        "flagged": [claim for claim in claims if claim.entry["flags"]],
        "opening": charts[:OPENING],
        "charts": charts[OPENING:],
        "facts": _facts(claims),
        "fails": (FAILS, NOT_JUDGED),
        "compared": _compared(out),
        "where": WHERE,
        "inputs": inputs,
        "flags_in": flags_in,
        "dagger": DAGGER,
    }
    title = str(inputs.study.get("title", "A study"))
    return write_framed(out / CLAIMS_PAGE, title, caution, versions, **content)


def _said(claims: Sequence[JudgedClaim]) -> Iterator[str]:
    """How many claims hold, and which of the verdicts are open."""
    counts = Counter(claim.entry["result"] for claim in claims)
    parts = [f"{count} {(SINGLE if count == 1 else SAID).get(result, result)}"
             for result in SAID if (count := counts[result])]  # fmt: skip
    yield f"Of {len(claims)} claim{'s' * (len(claims) != 1)}, {', '.join(parts)}."
    failing = [claim for claim in claims if claim.entry["result"] == FAILS]
    if failing:
        yield f"These numbers do not bear out {_named(failing)}."
    open_ = [claim for claim in claims if claim.is_open]
    if open_:
        yield (
            f"The error of the mesh is no smaller than the way to the limit, so that another mesh may "
            f"judge otherwise: {_named(open_)}."
        )


def _named(claims: Sequence[JudgedClaim]) -> str:
    listed = ", ".join(f"{claim.number}" for claim in claims[:MOST_NAMED])
    more = f" and {len(claims) - MOST_NAMED} more" if len(claims) > MOST_NAMED else ""
    return f"claim{'s' * (len(claims) != 1)} {listed}{more}"


def _facts(claims: Sequence[JudgedClaim]) -> dict[str, str]:
    judged = [claim for claim in claims if claim.entry["computed"]]
    known = sum(bool(claim.entry["error"]) for claim in judged)
    names = dict.fromkeys(
        name for claim in judged for name in (claim.entry["construct"], claim.entry["compared_with"])
    )
    return {
        "Claims": f"{len(judged)} of {len(claims)} judged",
        "Constructs": ", ".join(filter(None, names)) or "none",
        "Error of the mesh": f"known of {known} of {len(judged)}",
    }


def _compared(out: Path) -> tuple[int, list[Entry]] | None:
    """How many quantities were compared with the bundle's, and those that differ; None if none was."""
    if not (out / REPRODUCTION).is_file():
        return None
    rows = each_row(out / REPRODUCTION, READ)
    every = [Entry("reproduction", number, row) for number, row in enumerate(rows)]
    return len(every), [entry for entry in every if entry["verdict"] == OUTSIDE]


def _charts(claims: Sequence[JudgedClaim]) -> Iterator[Chart]:
    """What was found beside what is claimed, a chart for each kind of number."""
    judged = [claim for claim in claims if number_in(claim.entry["computed"]) is not None]
    for label, own in list(grouped(judged, lambda claim: claim.label).items())[:MOST_CHARTS]:
        drawn = own[:MOST_ROWS]
        series = [
            Series("found", [_found(claim.entry) for claim in drawn]),
            Series("claimed", [_mark(claim.entry, "stated", "allowed") for claim in drawn]),
        ]
        names = [f"claim {claim.number}\n{claim.bound}".strip() for claim in drawn]
        title = f"Found and claimed: {label}"
        told = "; ".join(_told(claim) for claim in drawn)
        more = f"Without room here: {len(own) - len(drawn)} more." if len(own) > len(drawn) else ""
        open_ = OPEN_MARKS if any(claim.entry["flags"] for claim in drawn) else ""
        note = " ".join(filter(None, (more, open_)))
        yield Chart(title, intervals(names, series, label), f"{title}: {told}.", note)


def _mark(entry: Entry, number: str, half: str) -> Mark | None:
    """A number and how far either way it is meant; a table of someone else may have a sign there."""
    value, own = number_in(entry[number]), number_in(entry[half])
    return None if value is None else Mark(value, None if own is None else abs(own))


def _found(entry: Entry) -> Mark | None:
    mark, cell = _mark(entry, "computed", "error"), entry.cell("computed")
    is_flagged = bool(entry["flags"])
    return mark and replace(mark, text=cell.text, address=cell[:3], is_flagged=is_flagged)


def _told(claim: JudgedClaim) -> str:
    flagged = ", flagged" if claim.entry["flags"] else ""
    open_ = f", {OPEN}" if claim.is_open else ""
    return (
        f"claim {claim.number} {claim.entry['result']}{open_}, found {claim.found}{flagged}, "
        f"claimed {claim.stated}"
    )
