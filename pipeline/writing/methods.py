"""The methods of a study in plain words, from its study file alone."""

from __future__ import annotations

from collections.abc import Mapping

from geometries.constructs import IntactConstruct
from geometries.parameters import Stem
from pipeline.run.planning import Plan, plan
from pipeline.storage.caution import CAUTION
from pipeline.study.config import StudyConfig
from pipeline.writing.implants import construct_words
from pipeline.writing.loads import loads_words, stem_words
from pipeline.writing.model import femur_words, interface_words, material_words, tissue_words
from pipeline.writing.numerics import checked, discretised, read_out, solved, varied
from pipeline.writing.words import Sources, counted, listed, plain

NOT_MODELLED = (
    "friction", "preload", "threads", "plasticity", "large strain",
    "fatigue", "wear", "fluid in the tissue", "healing", "the anatomy of an individual",
)  # fmt: skip


def methods(study: StudyConfig, versions: Mapping[str, str]) -> str:
    """Describe how a study computes its results, a paragraph for each thing that a reviewer asks.

    It need not have been run; versions are of the packages that it runs, or ran, on. Paragraphs are of
    one line each; a numbered list of sources and the caution follow.

    Raises
    ------
    StudyError
        If the study can not be built.
    """
    sources, planned = Sources(), plan(study)
    paragraphs = {
        "Study": _opening(study, planned, versions),
        "Femur": femur_words(study, sources),
        "Gap": tissue_words(study, sources),
        "Constructs": _constructs(study),
        "Interfaces": interface_words(study),
        "Materials": material_words(planned, sources),
        "Mesh": discretised(study.mesh.level, versions),
        "Solution": solved(),
        "Loads": f"{loads_words(study.loads, sources)}.{stem_words(study.loads, _with_stem(study))}",
        "Outcomes": read_out(study.strain_bands, sources),
        "Variation": varied(study, planned, sources),
        "Errors and checks": checked(sources),
        "Beside published tests": _published(study, sources),
        "Not modelled": f"{listed(NOT_MODELLED).capitalize()}.",
    }
    text = [f"{heading}. {words}" for heading, words in paragraphs.items() if words]
    return "\n\n".join([*text, f"Sources\n{sources}", CAUTION])


def _opening(study: StudyConfig, planned: Plan, versions: Mapping[str, str]) -> str:
    count, meshes = len(study.constructs), len(planned.meshes)
    is_relative = any(isinstance(item.case.construct, IntactConstruct) for item in planned.items)
    reference = ", with the femur without gap as the reference" if is_relative else ""
    does = "compares" if count > 1 else "studies"
    return (
        f'"{plain(study.title)}" {does} {counted(count, "construct")} by '
        f"linear static finite elements{reference}. It has {counted(len(planned.distinct), 'case')} on "
        f"{meshes} {'mesh' if meshes == 1 else 'meshes'}. Software: "
        f"{listed(f'{name} {version}' for name, version in versions.items())}."
    )


def _with_stem(study: StudyConfig) -> list[str]:
    return [one.name for one in study.constructs if isinstance(one.rod, Stem)]


def _constructs(study: StudyConfig) -> str:
    return "; ".join(f"{one.name}: {construct_words(one)}" for one in study.constructs) + "."


def _published(study: StudyConfig, sources: Sources) -> str:
    cited = [plain(one.source) for one in study.published]
    if not cited:
        return ""
    return (
        f"{counted(len(cited), 'measurement')}{sources.cite(*cited)}, each with how the test differed "
        "from the model."
    )
