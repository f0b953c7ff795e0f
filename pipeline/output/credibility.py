"""A credibility page: what two published lists ask, answered as far as a machine can.

Factors: ASME V&V 40-2018, names as reproduced elsewhere. Reporting items: Erdemir et al. 2012, J
Biomech 45:625, its headings read in its abstract, its items in our own words from memory. What only a
person can answer is left visibly blank.
"""

from __future__ import annotations

from array import array
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from functools import cached_property
from pathlib import Path
from statistics import median
from typing import Any

from geometries.materials import MATERIALS, Material
from pipeline.output.beside import published_of_first
from pipeline.output.pages import write_page
from pipeline.storage.casebook import read_summary
from pipeline.storage.files import VERIFICATION, read_if_any
from pipeline.storage.run_folder import RESULTS
from pipeline.study.config import StudyConfig
from pipeline.tables.errors import THREE_MESHES
from pipeline.tables.rows import Row, read_results

BALANCES = {
    "force_residual": "forces", "moment_residual": "moments", "energy_residual": "energy",
    "volume_error": "volume of a part",
}  # fmt: skip
ERRORS = {"stiffness": "stiffness", "gap_": "movement and strain of the gap"}
"""Part of a quantity's name, and what the page calls all that have it."""
FORM = (
    "Linear elastic, small strains, homogeneous parts; interfaces tied, void, or in frictionless "
    "unilateral contact; no friction, preload, threads, healing or fluid.",
    "Curved quadratic tetrahedra; each stage solved for unit loads, which are added up, with the unit "
    "forces of the stops that bear.",
)


@dataclass(frozen=True)
class Item:
    """A point of a list: what is asked, what study and run say, what a person must add."""

    name: str
    answers: tuple[str, ...] = ()
    blank: str = ""


@dataclass
class AllRows:
    """What all results of a run say together.

    Parameters
    ----------
    first : list of (str, str)
        Construct and variant of each solved case of the first variant.
    errors : dict of str to array
        Errors known of stiffness, and of movement and strain of the gap, percent.
    has_errors, has_three_meshes : bool
        Whether any error is known, and whether one from three meshes.
    singular, failed : int
        How many values have no limit, and how many rows failed.
    worst : dict of str to float
        Largest of each balance.
    """

    first: dict[tuple[str, str], None] = field(default_factory=dict)
    errors: dict[str, array[float]] = field(default_factory=lambda: {k: array("d") for k in ERRORS})
    has_errors: bool = False
    has_three_meshes: bool = False
    singular: int = 0
    failed: int = 0
    worst: dict[str, float] = field(default_factory=lambda: dict.fromkeys(BALANCES, 0.0))

    @classmethod
    def of(cls, rows: Iterable[Row]) -> AllRows:
        """Take in all results of a run."""
        found, variant = cls(), None
        for row in rows:
            variant = row.variant if variant is None else variant
            if row.variant == variant and row.quantity:
                found.first[row.construct, row.variant] = None
            found._add(row)
        return found

    def _add(self, row: Row) -> None:
        self.singular += row.is_singular
        self.failed += not row.is_ok
        for name in BALANCES:
            self.worst[name] = max(self.worst[name], getattr(row, name) or 0.0)
        if row.error is not None:
            self.has_errors = True
            self.has_three_meshes |= row.mesh.startswith(THREE_MESHES)
            for name, known in self.errors.items():
                if name in row.quantity:
                    known.append(row.error)


@dataclass(frozen=True)
class Evidence:
    """A study and what its run left: tables and records."""

    study: StudyConfig
    out: Path

    @cached_property
    def all_rows(self) -> AllRows:
        """What all results say together; they are read once and none is kept."""
        return AllRows.of(read_results(self.out / RESULTS))

    @cached_property
    def summaries(self) -> list[dict[str, Any]]:
        """Records of the stored cases, of a design those of its first variant."""
        return [read_summary(self.out, *case) for case in self.all_rows.first]


def credibility_page(study: StudyConfig, out: Path, versions: str, caution: str) -> Path:
    """Write ``credibility.html`` into the folder of a run, with sentences on versions and caution."""
    run = Evidence(study, out)
    lists = (
        ("Credibility factors (ASME V&V 40-2018)", tuple(_factors(run, versions))),
        ("Reporting items (Erdemir et al. 2012, J Biomech 45:625)", tuple(_reported(run, versions))),
    )
    title = f"Credibility of the study: {study.title}"
    return write_page(out / "credibility.html", title=title, lists=lists, caution=caution)


def _factors(run: Evidence, versions: str) -> Iterator[Item]:
    """The thirteen factors, after the three things that they follow from."""
    yield Item("Question of interest", (run.study.title,), "The decision that the answer serves.")
    yield Item("Context of use", (), "What the model is used for, and what stands beside it.")
    yield Item("Model risk", (), "Influence of the model on the decision, and what a wrong one costs.")
    yield Item("Software quality assurance", (versions,), "Commit, and who ran its tests where.")
    yield _verified(run)
    yield _discretised(run)
    yield _balanced(run)
    yield Item(
        "Use error",
        ("Units, ranges, clearances and load path were checked before meshing.",),
        "Who compared study file and drawings with the question.",
    )
    yield Item("Model form", FORM, "Why these idealisations serve the question.")
    yield Item("Model inputs", tuple(_materials(run)), "How sure the inputs are; which were varied.")
    tests = tuple(f"{row['source']}: {row['differs']}" for row in published_of_first(run.out))
    yield Item("Test samples", tests, "Specimens of the tests that the model is held against.")
    yield Item("Test conditions", (), "Loads, supports and measurements of these tests.")
    yield Item("Equivalency of input parameters", (), "Where model and tests have unlike inputs.")
    yield Item("Output comparison", tuple(_beside(run)), "How large a difference may be, and why.")
    yield Item(
        "Relevance of the quantities of interest", (), "Whether the tests measured what is asked."
    )
    yield Item("Relevance of the validation to the context of use", (), "How far the tests reach.")


def _reported(run: Evidence, versions: str) -> Iterator[Item]:
    """Items of a report, under six headings."""
    study = run.study
    names = ", ".join(f"{one.name} ({one.kind}: {one.interfaces})" for one in study.constructs)
    yield Item("Identification", (study.title, versions), "Purpose, intended use, version, authors.")
    yield Item("Structure: geometry", (f"Constructs: {names}.",), "Why these dimensions.")
    yield Item("Structure: mesh", tuple(_meshes(run)))
    yield Item("Structure: materials", tuple(_materials(run)))
    frame = "Origin at the knee end of the shaft axis; medial, anterior, proximal; mm, N, MPa."
    yield Item("Structure: coordinates and units", (frame,))
    loads = tuple(
        f"{load.name}: {_inputs(load.model_dump(exclude_none=True))}." for load in study.loads
    )
    yield Item("Simulation: loads", (*loads, "The distal end is held."), "Source of each load.")
    stages = ", ".join(
        f"{stage.name} {stage.material().modulus:g} MPa, ν {stage.material().poisson:g}"
        for stage in study.stages
    )
    yield Item("Simulation: tissue stages", (f"{stages}.",), "Why these stages.")
    yield _balanced(run)
    yield _discretised(run)
    yield _verified(run)
    yield Item("Validation", tuple(_beside(run)), "What it was held against; what was calibrated.")
    yield Item("Limitations", FORM, "What they mean for the answer.")
    yield Item(
        "Availability", ("Study file and tables reproduce every number.",), "Where they are kept."
    )


def _verified(run: Evidence) -> Item:
    rows = read_if_any(run.out.parent / "verification" / VERIFICATION)
    passed = sum(row["result"] == "passed" for row in rows)
    said = (f"{passed} of {len(rows)} numbers of gapstrain verify were within their tolerance.",)
    blank = "" if rows else "Run gapstrain verify beside this study."
    return Item("Numerical code verification", said if rows else (), blank)


def _discretised(run: Evidence) -> Item:
    """How large errors of stiffness and gap movement are, from what, and what has no limit."""
    known = run.all_rows
    if not known.has_errors:
        return Item("Discretisation error", (), "Run with --levels 3.")
    answers = []
    for name, words in ERRORS.items():
        shares = sorted(known.errors[name])
        if shares:
            tenth = shares[9 * len(shares) // 10]
            answers.append(f"{words}: median {median(shares):.2g} %, nine of ten below {tenth:.2g} %")
    three = known.has_three_meshes
    how = "Grid-convergence index of three meshes" if three else "Estimated on one mesh"
    text = f"{how}, {'; '.join(answers)}; {known.singular} values are singular."
    return Item("Discretisation error", (text,))


def _balanced(run: Evidence) -> Item:
    """The worst balance over all rows."""
    found = run.all_rows
    text = ", ".join(f"{words} {found.worst[name]:.1e}" for name, words in BALANCES.items())
    said = f"Worst residual or error: {text}; {found.failed} rows failed."
    return Item("Numerical solver error", (said,))


def materials_of(records: Iterable[Mapping[str, Any]]) -> list[tuple[str, Material]]:
    """Materials with published constants, by name, of the parts of some cases."""
    used = {part["material"] for record in records for part in record["parts"]}
    return [(name, MATERIALS[name]) for name in sorted(used & set(MATERIALS))]


def _meshes(run: Evidence) -> Iterator[str]:
    for record in run.summaries:
        facts = record["facts"]
        size = f"{facts['cells']} cells, {facts['unknowns']} unknowns"
        yield f"{record['name']}: {size}, SHA-256 {record['mesh_hash'][:12]}"


def _materials(run: Evidence) -> Iterator[str]:
    for name, material in materials_of(run.summaries):
        yield f"{name}: {material.modulus:g} MPa, ν {material.poisson:g}; {material.source}"


def _beside(run: Evidence) -> Iterator[str]:
    for row in published_of_first(run.out):
        if row["model"]:
            yield f"{row['name']}: model {row['model']}, measured {row['measured']} {row['unit']}"


def _inputs(values: dict[str, object]) -> str:
    return ", ".join(f"{key} {value}" for key, value in values.items() if key != "name")
