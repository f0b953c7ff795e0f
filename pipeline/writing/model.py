"""The model of a study in words: femur, gap, tissue, interfaces, materials."""

from __future__ import annotations

from collections.abc import Iterator

from geometries.bone import Femur
from geometries.materials import MATERIALS, Material
from geometries.sources import source_of
from pipeline.run.planning import Plan
from pipeline.study.config import StudyConfig
from pipeline.study.stages import Stage
from pipeline.tables.groups import grouped
from pipeline.writing.implants import gap_words
from pipeline.writing.words import Sources, listed


def femur_words(study: StudyConfig, sources: Sources) -> str:
    """Dimensions of the femur, with the sources of those left as they are; empty without one."""
    if not any(one.has_femur for one in study.constructs):
        return ""
    femur = study.femur
    bow = f"bowed with a radius of {femur.bow_radius_mm:g} mm" if femur.bow_radius_mm else "straight"
    return (
        f"The femur is an idealised body of revolution, {bow}, {femur.length_mm:g} mm long. Its shaft "
        f"is {femur.shaft_diameter_mm:g} mm thick with a canal of {femur.canal_diameter_mm:g} mm at "
        f"the isthmus. Its ends flare over cancellous cores: to {femur.distal_diameter_mm:g} mm with a "
        f"cortex of {femur.distal_cortex_mm:g} mm a quarter of the length above the knee, and to "
        f"{femur.proximal_diameter_mm:g} mm at the top. The head is left out; its centre lies "
        f"{femur.head_offset_mm:g} mm medial of the axis and {femur.head_below_top_mm:g} mm below the "
        f"top{sources.cite(*_default_sources(femur))}."
    )


def _default_sources(femur: Femur) -> Iterator[str]:
    """Published sources of the dimensions that the study leaves as they are, and what these are."""
    for key, info in Femur.model_fields.items():
        source, is_default = source_of(Femur, key), getattr(femur, key) == info.default
        if key.endswith("_mm") and is_default and source and source.is_published:
            yield f"femur.{key}: {source.after(info.description or '')}"


def tissue_words(study: StudyConfig, sources: Sources) -> str:
    """Every gap of the study, and the tissues that fill it; empty without a gap."""
    across = (one for one in study.constructs if one.has_gap)
    gaps = grouped(across, lambda one: gap_words(one.defect or study.defect))
    if not gaps:
        return ""
    alone = len(gaps) == 1
    where = "; ".join(
        words + ("" if alone else f" ({listed(one.name for one in of)})") for words, of in gaps.items()
    )
    stages = listed(_stage(stage, sources) for stage in study.stages)
    return f"The gap is {where}. One tissue at a time fills it: {stages}."


def _stage(stage: Stage, sources: Sources) -> str:
    material = stage.material()
    given = stage.modulus_mpa is not None or stage.poisson_ratio is not None
    if stage.name == "united" and not given:
        return "united (bone as in the cortex)"
    if material.modulus == 0:
        return f"{stage.name} (no stiffness)"
    source = ", given by the study" if given else sources.cite(f"{stage.name}: {material.source}")
    return f"{stage.name} ({_constants(material)}{source})"


def _constants(material: Material) -> str:
    text = f"E {material.modulus:g} MPa, ν {material.poisson:g}"
    across = material.across
    if across is None:
        return text
    return (
        f"along the shaft {text}, across it E {across.modulus:g} MPa, ν {across.poisson:g}, and a "
        f"shear modulus of {across.shear_modulus:g} MPa along it"
    )


def interface_words(study: StudyConfig) -> str:
    """How surfaces meet, and in which constructs; empty without implants."""
    bounds = (one for construct in study.constructs for one, _ in construct.at_bounds())
    found = grouped(bounds, lambda one: one.interfaces)
    found.pop("none", None)
    if not found:
        return ""
    words = "; ".join(f"{how} ({listed(one.name for one in of)})" for how, of in found.items())
    return (
        f"{words[0].upper()}{words[1:]}. What is tied, bonded, cemented or ingrown moves as one with "
        "its neighbour. Nail and canal in contact, bolts with play, bone ends and the underside of an "
        "offset plate bear on each other without friction once they have used up their clearance; a "
        "void canal carries nothing."
    )


def material_words(planned: Plan, sources: Sources) -> str:
    """Every material of any part of the solids that are meshed."""
    used = frozenset[str]().union(*(item.materials for item in planned.items))
    words = "; ".join(
        f"{name.replace('_', ' ')}, {_constants(one)}{sources.cite(f'{name}: {one.source}')}"
        for name, one in MATERIALS.items()
        if name in used
    )
    return f"All materials are homogeneous and linear elastic: {words}."
