"""What a run will do, worked out before it does anything: variants, cases, meshes, solutions."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass, replace
from functools import cached_property
from math import ceil

from geometries.constructs import Construct, IntactConstruct, Specimen
from geometries.defect import gap_levels
from geometries.errors import StudyError
from geometries.solids import Geometry
from pipeline.fem.meshing.forecast import expected_unknowns
from pipeline.fem.meshing.sizes import LEVELS, Level
from pipeline.loading.statics import check_places
from pipeline.run.case import Case
from pipeline.storage.provenance import mesh_key
from pipeline.study.config import StudyConfig
from pipeline.sweeps.variants import Variant, variants_of
from pipeline.tables.groups import grouped

# For each million unknowns, one thread on one of two cores: meshes of 60 femurs of 76,000 to 510,000
# unknowns; stages, and blocks of unit loads and stops, of the demo's nails.
MESH_S, STAGE_S, BLOCK_S, START_S = 25.0, 35.0, 20.0, 1.0
BLOCK = 8  # loads that are solved for side by side
BASE_GB, WORK_GB = 0.35, 5.0
MESH_GB, FIELD_GB = 0.020, 0.0046


@dataclass(frozen=True)
class Planned:
    """A case of the plan: what a person checks before a run.

    Parameters
    ----------
    case : Case
        What will run.
    facts : dict
        Numbers that a surgeon would ask for.
    loose : str
        A sentence if nothing but tissue joins the fragments.
    meshes : mapping of str to str
        Key of its mesh at each level; cases with the same one share it.
    sizes : mapping of str to int
        About how many unknowns it will have at each level.
    materials : frozenset of str
        What its parts are made of.
    columns : int
        About how many unit forces of stops are solved for at each stage, besides the unit loads.
    """

    case: Case
    facts: dict[str, float]
    loose: str
    meshes: Mapping[Level, str]
    sizes: Mapping[Level, int]
    materials: frozenset[str]
    columns: int = 0

    @property
    def mesh(self) -> str:
        """Key of its mesh."""
        return self.meshes[self.case.level]

    @property
    def unknowns(self) -> int:
        """About how many unknowns it will have."""
        return self.sizes[self.case.level]

    @property
    def solutions(self) -> int:
        """How many systems of equations are solved, all unit loads of one stage at once."""
        return len(self.case.stages) if self.case.has_tissue else 1


@dataclass(frozen=True)
class Forecast:
    """What a run will take, on one machine with a thread for each worker; rough, by factors.

    Parameters
    ----------
    hours : float
        Work of one worker for all cases.
    memory_gb : float
        Of a worker in its largest case.
    fields_gb : float
        Of all fields, if they are kept.
    """

    hours: float
    memory_gb: float
    fields_gb: float


@dataclass(frozen=True)
class Plan:
    """All cases of a study.

    Parameters
    ----------
    study : StudyConfig
        As written.
    variants : tuple of Variant
        Points of the design; one without a name if there is none. Those that can not be built have a
        reason.
    items : tuple of Planned
        Cases of all others.
    """

    study: StudyConfig
    variants: tuple[Variant, ...]
    items: tuple[Planned, ...]

    @property
    def cases(self) -> list[Case]:
        """All cases in the order of the study."""
        return [item.case for item in self.items]

    @cached_property
    def alike(self) -> dict[str, list[Planned]]:
        """All cases at each address, which have the same results."""
        return grouped(self.items, lambda item: item.case.address)

    @cached_property
    def distinct(self) -> dict[str, Planned]:
        """The first case at each address."""
        return {address: items[0] for address, items in self.alike.items()}

    def only(self, labels: Collection[str]) -> Plan:
        """The plan of some cases."""
        return replace(self, items=tuple(item for item in self.items if item.case.label in labels))

    def at(self, level: Level) -> Plan:
        """The same cases on another mesh level; nothing is assembled anew."""
        items = (replace(item, case=replace(item.case, level=level)) for item in self.items)
        return replace(self, items=tuple(items))

    @property
    def elsewhere(self) -> list[Plan]:
        """The same cases on the two mesh levels that are not the study's own."""
        return [self.at(level) for level in LEVELS if level != self.study.mesh.level]

    @property
    def first(self) -> list[Planned]:
        """Cases of the first variant that can be built."""
        return [item for item in self.items if item.case.variant == self.items[0].case.variant]

    @cached_property
    def meshes(self) -> dict[str, list[Planned]]:
        """Distinct cases of each mesh."""
        return grouped(self.distinct.values(), lambda item: item.mesh)

    @property
    def solutions(self) -> int:
        """How many systems of equations are solved, all unit loads of one stage at once."""
        return sum(item.solutions for item in self.distinct.values())

    @property
    def forecast(self) -> Forecast:
        """Time, memory and disk."""
        millions = {address: item.unknowns / 1e6 for address, item in self.distinct.items()}
        seconds = sum(MESH_S * group[0].unknowns / 1e6 for group in self.meshes.values())
        fields = 0.0
        for address, item in self.distinct.items():
            work = STAGE_S + BLOCK_S * (1 + ceil(item.columns / BLOCK))
            seconds += START_S + work * millions[address] * item.solutions
            shown = item.solutions * len(item.case.loads)
            fields += millions[address] * (MESH_GB + FIELD_GB * shown)
        return Forecast(seconds / 3600, BASE_GB + WORK_GB * max(millions.values()), fields)

    @property
    def has_design(self) -> bool:
        """Whether the study asks for more than itself."""
        return bool(self.variants[0].name)

    @property
    def refused(self) -> list[Variant]:
        """Variants that can not be built."""
        return [variant for variant in self.variants if variant.reason]


def cases(study: StudyConfig, variant: str = "") -> tuple[Case, ...]:
    """All cases of a study, or of one variant of it.

    They are its constructs and the intact femur at every gap in it. The intact cases are the
    reference of the percentages; one that the study names itself is not made again. Gaps that differ
    in shape alone share one: where there is no gap it has no shape.
    """

    def case(construct: Construct) -> Case:
        common = (study.femur, study.defect, study.mesh.level, study.stages, study.loads)
        return Case(construct, *common, study.strain_bands, variant)

    listed = [case(one) for construct in study.constructs for one, _ in construct.at_bounds()]
    covered = [c.own_defect.plain for c in listed if isinstance(c.construct, IntactConstruct)]
    added: list[Case] = []
    for one in listed:
        plain = one.own_defect.plain
        if isinstance(one.construct, Specimen) or plain in covered:
            continue
        covered.append(plain)
        name = f"intact-{one.own_defect.site}-{one.own_defect.gap_mm:g}mm".replace(".", "p")
        alike = sum(other.name.startswith(name) for other in added)
        name += f"-{alike + 1}" if alike else ""
        added.append(case(IntactConstruct(name=name, kind="intact", defect=plain)))
    return tuple(added + listed)


def plan(study: StudyConfig) -> Plan:
    """Assemble every case without meshing.

    A point of a design that can not be built is left out, with its reason; a study without a design,
    or none of whose points can be built, is refused.

    Raises
    ------
    StudyError
        All findings of all constructs, a line each.
    """
    variants, items = [], []
    for variant in variants_of(study):
        made, findings = _assembled(variant)
        if findings and not variant.name:
            raise StudyError("\n".join(dict.fromkeys(findings)))
        variants.append(replace(variant, reason=" ".join(dict.fromkeys(findings))))
        items += [] if findings else made
    if not items:
        raise StudyError(f"no point of the design can be built; the first: {variants[0].reason}")
    return Plan(study, tuple(variants), tuple(items))


def _assembled(variant: Variant) -> tuple[list[Planned], list[str]]:
    """Cases of a variant, and sentences about what can not be built."""
    if variant.study is None:
        return [], [variant.reason]
    made, findings = [], []
    for case in cases(variant.study, variant.name):
        try:
            made.append(_planned(case))
        except StudyError as error:
            findings.append(str(error))
    return made, findings


def _planned(case: Case) -> Planned:
    """Assemble a case; refuse loads where it has no bone, and what falls apart at every stage."""
    gap = gap_levels(case.femur, case.own_defect) if case.has_site else None
    check_places(case.name, case.loads, case.femur, gap)
    geometry = case.geometry()
    if geometry.loose and not any(stage.material().modulus for stage in case.stages):
        raise StudyError(f"construct {case.name!r}: {geometry.loose}, or add a stage with tissue")
    return Planned(
        case,
        geometry.facts,
        geometry.loose,
        {level: mesh_key(geometry, level) for level in LEVELS},
        {level: expected_unknowns(geometry, level) for level in LEVELS},
        frozenset(part.material for part in geometry.parts),
        expected_columns(geometry),
    )


def expected_columns(geometry: Geometry) -> int:
    """About how many columns the stops of a construct need at a stage, from what others took.

    A nail that hangs in its holes needs the two outer rims of each bolt, in two directions, and leans
    on its canal at more places than one that its bolts hold.
    """
    touches = {stop.touch for stop in geometry.stops}
    canal = 10 if geometry.apart else 2
    share = {"canal": canal, "bolt": 4, "bone_ends": 1, "plate": 1}
    return sum(share[next(kind for kind in share if touch.startswith(kind))] for touch in touches)
