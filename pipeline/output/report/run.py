"""A finished run as the page reads it: its tables, and of a design the first variant."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import Any

from pipeline.measures import exploring
from pipeline.output.report.cells import Entry, Texts
from pipeline.output.report.kept import Kept
from pipeline.storage.casebook import CURVES, FIELDS, folder_of
from pipeline.storage.files import read_if_any, stream_table
from pipeline.storage.run_folder import RESULTS, each_row, listed_cases, named_rows, read_case
from pipeline.study.config import StudyConfig
from pipeline.tables.errors import THREE_MESHES
from pipeline.tables.known import COLUMNS_OF
from pipeline.tables.lookup import Results
from pipeline.tables.rows import CHECKS

READ = (
    "case", "variant", "construct", "site", "gap_mm", "stage", "load", "quantity", "location", "value",
    "unit", "error", "percent_of_intact", "mesh", "status", "reason", "flags", *CHECKS,
)  # fmt: skip
NO_GAP = "no gap"
UNFLAGGED = {"flags": ""}  # as tables of earlier versions are, some of which have no such column


@dataclass(frozen=True)
class ReportedRun:
    """A study and the folder of its results."""

    study: StudyConfig
    out: Path

    def showing(self, stage: str, load: str) -> ReportedRun:
        """The same run with another stage and load shown; its tables are not read again."""
        if (stage, load) == self.study.shown:
            return self
        show = self.study.show.model_copy(update={"stage": stage, "load": load})
        other = ReportedRun(self.study.model_copy(update={"show": show}), self.out)
        vars(other).update({name: held for name, held in vars(self).items() if name != "study"})
        return other

    @property
    def results(self) -> list[Entry]:
        """Rows of ``results.csv``: of a large design not all, but all that the page shows."""
        return self.kept.entries

    @cached_property
    def kept(self) -> Kept:
        """These rows, how many there are, and which of them are listed."""
        return Kept.of(self.study, each_row(self.out / RESULTS, READ))

    @cached_property
    def variant(self) -> str:
        """The first variant, which is shown; empty without a design."""
        return self.results[0]["variant"] if self.results else ""

    @cached_property
    def first(self) -> list[Entry]:
        """Rows of that variant."""
        return [entry for entry in self.results if entry["variant"] == self.variant]

    @cached_property
    def constructs(self) -> list[str]:
        """Names of its constructs in the order of the study file, those it adds besides at the end."""
        return self.study.in_order(dict.fromkeys(entry["construct"] for entry in self.first))

    def order(self, name: str) -> int:
        """Place of a construct in the study file; what the run added stands behind all others."""
        return self._order.get(name, len(self._order))

    @cached_property
    def _order(self) -> dict[str, int]:
        return self.study.places

    def answering(self, entries: Iterable[Entry]) -> list[Entry]:
        """Those of some rows that are of the primary outcome."""
        asked = self.study.asked
        return [one for one in entries if asked == tuple(one[name] for name in asked._fields)]

    @cached_property
    def comparisons(self) -> list[Entry]:
        """Rows of ``comparisons.csv`` of the shown variant that are of the primary outcome."""
        return self._shown("comparisons", self.study.asked._asdict())

    @cached_property
    def design(self) -> list[Texts]:
        """Points of the design; none without one."""
        return read_if_any(self.out / "design.csv")

    @cached_property
    def sensitivity(self) -> list[Entry]:
        """Rows of ``sensitivity.csv``; none without a design."""
        rows = named_rows(self.out / "sensitivity.csv")
        return [Entry("sensitivity", number, row) for number, row in enumerate(rows)]

    @cached_property
    def published(self) -> list[Entry]:
        """Rows of ``published.csv`` of the shown variant; none unless the study names measurements."""
        return self._shown("published")

    @cached_property
    def brackets(self) -> list[Entry]:
        """Rows of ``brackets.csv`` of the shown variant; none unless an interface was bracketed."""
        return self._shown("brackets")

    @cached_property
    def curves(self) -> list[Entry]:
        """Rows of ``curves.csv`` of the shown variant; none where no surfaces can touch."""
        return self._shown(CURVES.removesuffix(".csv"))

    @cached_property
    def robustness(self) -> list[Entry]:
        """Rows of ``robustness.csv``; none unless inputs were sampled."""
        return self._every(exploring.ROBUSTNESS)

    @cached_property
    def robustness_maps(self) -> list[Entry]:
        """Rows of ``robustness_maps.csv``, likewise."""
        return self._every(exploring.ROBUSTNESS_MAPS)

    @cached_property
    def takeover(self) -> list[Entry]:
        """Rows of ``takeover.csv``; none unless the tissue was stiffened step by step."""
        return self._every(exploring.TAKEOVER)

    @cached_property
    def assumptions(self) -> list[Entry]:
        """Rows of ``assumptions.csv``; none unless assumptions were turned round."""
        return self._every(exploring.ASSUMPTIONS)

    @cached_property
    def unanswered(self) -> list[Texts]:
        """Rows of ``asked.csv`` that have no answer."""
        return [row for row in read_if_any(self.out / exploring.ASKED) if row["status"] == "failed"]

    def _every(self, table: str) -> list[Entry]:
        """All rows of a table that not every run has and that tells variants not apart."""
        path = self.out / table
        rows = enumerate(each_row(path, COLUMNS_OF[table]) if path.exists() else ())
        return [Entry(table.removesuffix(".csv"), number, UNFLAGGED | row) for number, row in rows]

    def _shown(self, table: str, more: Mapping[str, str] | None = None) -> list[Entry]:
        """Rows of the shown variant in a table that not every run has, with such cells besides."""
        path, asked = self.out / f"{table}.csv", {"variant": self.variant} | dict(more or {})
        rows = enumerate(stream_table(path) if path.exists() else ())
        return [
            Entry(table, number, UNFLAGGED | row)
            for number, row in rows
            if all(row[name] == text for name, text in asked.items())
        ]

    @cached_property
    def cases(self) -> list[Texts]:
        """How each case ended, and where it lies."""
        return listed_cases(self.out)

    @cached_property
    def records(self) -> dict[str, dict[str, Any]]:
        """What was written down of each finished case of the shown variant, by construct."""
        return {
            case["construct"]: read_case(self.out, case["case"])
            for case in self.cases
            if case["variant"] == self.variant and case["status"] == "ok"
        }

    @cached_property
    def with_fields(self) -> list[str]:
        """Constructs of the shown variant whose fields are stored."""
        there = {
            case["construct"]
            for case in self.cases
            if case["variant"] == self.variant
            and (folder_of(self.out, case["case"]) / FIELDS).is_file()
        }
        return [name for name in self.constructs if name in there & set(self.records)]

    @cached_property
    def has_errors(self) -> bool:
        """Whether any error is known."""
        return any(entry["error"] for entry in self.results)

    @cached_property
    def has_three_meshes(self) -> bool:
        """Whether any error is that of three meshes."""
        return any(entry["mesh"].startswith(THREE_MESHES) for entry in self.results)

    def found(
        self, quantity: str, location: str, stage: str, load: str | None, construct: str
    ) -> Entry | None:
        """One construct's result in the shown variant; of the highest stress that of its part.

        An intact bone has only its own stage; without a load it is the first that has the quantity.
        """
        row = self._lookup.find(construct, quantity, location, stage, load)
        return None if row is None else self._placed[row.place]

    @cached_property
    def _lookup(self) -> Results:
        return Results([entry.result for entry in self.first])

    @cached_property
    def _placed(self) -> dict[int, Entry]:
        return {entry.number: entry for entry in self.first}

    @cached_property
    def failed(self) -> list[Entry]:
        """Rows of all variants that say why there is no result, one for each construct and stage."""
        said: dict[tuple[str, ...], Entry] = {}
        for entry in self.results:
            if entry["status"] != "ok":
                key = tuple(entry[name] for name in ("variant", "construct", "stage", "reason"))
                said.setdefault(key, entry)
        return list(said.values())

    def places(self, names: Iterable[str]) -> dict[str, str]:
        """Site and length of each construct's gap, in words."""
        rows = {entry["construct"]: entry for entry in self.first}
        return {
            name: f"{rows[name]['site']}, {rows[name]['gap_mm']} mm" if rows[name]["site"] else NO_GAP
            for name in names
        }
