"""Mesh, solution, outcomes, variation and errors of a study in words; limits are those of the code."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence

from geometries.sources import source_of
from pipeline.fem.limits import ACCEPTED, BALANCE_TOLERANCE, BAR, VOLUME_TOLERANCE
from pipeline.fem.meshing.sizes import LEVELS, Level
from pipeline.measures.dictionary import HEADLINE, QUANTITIES, Scheme
from pipeline.measures.literature import SCHEMES
from pipeline.run.planning import Plan
from pipeline.study.config import StudyConfig
from pipeline.study.factors import Factor
from pipeline.tables.convergence import CAUTIOUS, SAFETY
from pipeline.writing.words import Sources, amount, counted, listed, number, plain

ERRORS = (
    "Grid-convergence index: Roache 1994 J Fluids Eng 116:405, Celik 2008 J Fluids Eng 130:078001, "
    "ASME V&V 20-2009; procedure and factors as read in open tutorials and codes that follow them"
)
DETAIL = re.compile(r"[.;:] ")
DESIGNS = {
    "grid": "all combinations of the values",
    "paired": "lists of values taken together",
    "one_at_a_time": "the study as written, then one factor at a time",
    "latin_hypercube": "a Latin hypercube",
    "sobol_sequence": "a scrambled Sobol sequence",
    "sobol_indices": "Sobol indices",
    "morris": "Morris trajectories",
}


def discretised(level: Level, versions: Mapping[str, str]) -> str:
    """Cells of the mesh, their level and how long their edges may be."""
    sizes = LEVELS[level]
    mesher = f"gmsh {versions['gmsh']}" if "gmsh" in versions else "gmsh"
    return (
        f"Meshes of ten-node tetrahedra, with curved edges and quadratic displacements, by {mesher} at "
        f"the level {level}. Edges follow wall thickness and curvature: {sizes.longest:g} mm at most, "
        f"and so short that a chord leaves a round surface by {sizes.sagitta:g} mm at most. Parts that "
        "are joined share their nodes."
    )


def solved() -> str:
    """How displacements are found."""
    return (
        "Displacements come from conjugate gradients with a multigrid preconditioner, accepted at an "
        f"out-of-balance force of {number(ACCEPTED)} of the load, or at round-off where that is "
        "larger. For each tissue the model is solved under unit forces and moments, and under the unit "
        "forces of stops: pairs of facing windows on surfaces that can touch. Which of them bear under "
        "a load is a second-order cone program; no surface may then overlap another by more than 0.005 "
        "mm, or 1 % of the clearance if that is more."
    )


def read_out(schemes: Sequence[Scheme], sources: Sources) -> str:
    """The headline quantities with units and definitions, and how strain is sorted."""
    named = "; ".join(
        f"{name}, {QUANTITIES[name].unit} ({_clause(QUANTITIES[name].definition)})" for name in HEADLINE
    )
    cited = sources.cite(*(SCHEMES[scheme] for scheme in schemes))
    bands = (
        f" The tissue's volume is sorted into published strain bands ({listed(schemes)}{cited}), which "
        "describe strain and forecast nothing."
    )
    return f"Read first: {named}. All others are defined in dictionary.csv.{bands * bool(schemes)}"


def _clause(definition: str) -> str:
    """What a definition says before it goes into details."""
    text = DETAIL.split(definition, maxsplit=1)[0].rstrip(".")
    return text if text.startswith("Von ") else text[0].lower() + text[1:]


def varied(study: StudyConfig, planned: Plan, sources: Sources) -> str:
    """The design of a study; empty without one."""
    design = study.design
    if design is None:
        return ""
    source = source_of(type(design), "kind")
    factors = "; ".join(_factor(one) for one in design.factors)
    limits = "".join(f" Points with {plain(text)} only." for text in design.constraints)
    seed = f", seed {design.seed}" if hasattr(design, "seed") else ""
    refused = len(planned.refused)
    left = f" {counted(refused, 'point')} could not be built and were left out." if refused else ""
    cited = sources.cite(source.words) if source else ""
    return (
        "All above is the study as written. "
        f"It has {counted(len(planned.variants), 'variant')} by {DESIGNS[design.kind]}{cited}{seed}, "
        f"over {factors}.{limits}{left} Percentages and comparisons stay within a variant."
    )


def _factor(factor: Factor) -> str:
    span = f"from {amount(factor.low)} to {amount(factor.high, factor.key)}"
    if factor.values is not None:
        span = amount(factor.values, factor.key)
    return f"{plain(factor.name)} ({plain(factor.key)}: {span})"


def checked(sources: Sources) -> str:
    """How large the errors are taken to be, and what every row must pass."""
    return (
        "The error of a stiffness or a movement on one mesh is estimated from residuals against cubic "
        f"functions on edges and faces, times {BAR:g}; that of a stress or strain is "
        "a share of the load's error in energy that held for results of its class. Where the study is "
        "run on the coarse, default and fine mesh, the error is the grid-convergence index with a "
        f"factor of safety of {SAFETY:g}, or of {CAUTIOUS:g} where the observed order is not "
        f"trusted{sources.cite(ERRORS)}. Two results are told apart only if they differ by more than "
        "both errors in sum. Clearances and the load path are checked before meshing. In every sound "
        f"row forces, moments and energy balance to {number(BALANCE_TOLERANCE)} of the load; the "
        f"volume of every part is within {100 * VOLUME_TOLERANCE:g} % of the exact one."
    )
