"""What a run will do, worked out before it does anything: variants, cases, meshes, solutions."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass, field, replace
from functools import cached_property

from geometries.constructs import Construct, IntactConstruct, Specimen
from geometries.defect import gap_levels
from geometries.errors import StudyError
from pipeline.fem.meshing.forecast import expected_unknowns
from pipeline.fem.meshing.sizes import LEVELS, Level
from pipeline.loading.loads import Load
from pipeline.loading.statics import check_places
from pipeline.run.case import Case
from pipeline.run.forecast import Forecast, Work, expected_columns, forecast_of
from pipeline.storage.provenance import mesh_key, stops_key
from pipeline.study.config import StudyConfig
from pipeline.sweeps.variants import Variant, variants_of
from pipeline.tables.groups import grouped


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
    stops : str
        Key of its stops, whatever their clearance.
    clearance : mapping of str to float
        Clearance, mm, by what touches there.
    """

    case: Case
    facts: dict[str, float]
    loose: str
    meshes: Mapping[Level, str]
    sizes: Mapping[Level, int]
    materials: frozenset[str]
    columns: int = 0
    stops: str = ""
    clearance: Mapping[str, float] = field(default_factory=dict)

    @property
    def mesh(self) -> str:
        """Key of its mesh."""
        return self.meshes[self.case.level]

    @property
    def unknowns(self) -> int:
        """About how many unknowns it will have."""
        return self.sizes[self.case.level]

    @property
    def likeness(self) -> tuple[str, str]:
        """What cases of one mesh have in common that are solved together.

        These are the same stops in the same femur, whose loads act at the same points. It may be of
        other bone for a reduced model, not for one solution, which is that of whole bone.
        """
        apart = set() if self.case.is_whole else {"cortex", "preset"}
        return self.stops, self.case.femur.model_dump_json(exclude=apart)

    @property
    def unasked(self) -> Planned:
        """The same without a reduced model of its own."""
        return replace(self, case=replace(self.case, asks_more=False, beside=()))

    @property
    def solutions(self) -> int:
        """How many systems of equations are solved, all unit loads of one stage at once."""
        return len(self.case.stages) if self.case.has_tissue else 1

    @property
    def work(self) -> Work:
        """What it takes."""
        has_twin, loads = self.case.has_twin, len(self.case.loads)
        return Work(self.unknowns, self.solutions, self.columns, loads, has_twin)


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
        meshes = [group[0].unknowns for group in self.meshes.values()]
        return forecast_of(meshes, [item.work for item in self.distinct.values()])

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
        more = (study.asks_more, beside)
        return Case(construct, *common, study.strain_bands, variant, *more)

    beside = _beside(study)
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


def _beside(study: StudyConfig) -> tuple[Load, ...]:
    """Loads that reduced models must know besides the study's own."""
    if study.robustness is None:
        return ()
    from pipeline.run.tilted import cone_of  # brings libraries that no plain plan needs

    return tuple(cone_of(study))


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
    known: dict[object, Planned] = {}
    for variant in variants_of(study):
        made, findings = _cases_of(variant, known)
        if findings and not variant.name:
            raise StudyError("\n".join(dict.fromkeys(findings)))
        variants.append(replace(variant, reason=" ".join(dict.fromkeys(findings))))
        items += [] if findings else made
    if not items:
        raise StudyError(f"no point of the design can be built; the first: {variants[0].reason}")
    shown = items[0].case.variant  # what is asked besides, is asked of this one alone
    return Plan(
        study,
        tuple(variants),
        tuple(item if item.case.variant == shown else item.unasked for item in items),
    )


def _cases_of(variant: Variant, known: dict[object, Planned]) -> tuple[list[Planned], list[str]]:
    """Cases of a variant, and sentences about what can not be built."""
    if variant.study is None:
        return [], [variant.reason]
    made, findings = [], []
    for case in cases(variant.study, variant.name):
        try:
            made.append(_planned(case, known))
        except StudyError as error:
            findings.append(str(error))
    return made, findings


def _planned(case: Case, known: dict[object, Planned]) -> Planned:
    """Assemble a case; refuse loads where it has no bone, and what falls apart at every stage.

    What is known of a case that is built alike holds for this one too.
    """
    gap = gap_levels(case.femur, case.own_defect) if case.has_site else None
    check_places(case.name, case.loads, case.femur, gap)
    built = case.construct, case.femur, case.own_defect
    if built not in known:
        known[built] = _assembled(case)
    loose = known[built].loose
    if loose and not any(stage.material().modulus for stage in case.stages):
        raise StudyError(f"construct {case.name!r}: {loose}, or add a stage with tissue")
    return replace(known[built], case=case)


def _assembled(case: Case) -> Planned:
    """What assembling a case tells of it."""
    geometry = case.geometry()
    return Planned(
        case,
        geometry.facts,
        geometry.loose,
        {level: mesh_key(geometry, level) for level in LEVELS},
        {level: expected_unknowns(geometry, level) for level in LEVELS},
        frozenset(part.material for part in geometry.parts),
        expected_columns(geometry),
        stops_key(geometry),
        {stop.touch: stop.clearance for stop in geometry.stops},
    )
