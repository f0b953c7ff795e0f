"""Study files: TOML to a validated study, with errors that a person can act on."""

from __future__ import annotations

import tomllib
from collections.abc import Iterable
from pathlib import Path
from typing import Annotated, Any, Literal, Self

from pydantic import Field, Strict, ValidationError, field_validator, model_validator

from geometries.bone import Defect, Femur
from geometries.constructs import Construct
from geometries.errors import StudyError
from geometries.parameters import Parameters
from pipeline.loading.loads import Load
from pipeline.loading.statics import check_points
from pipeline.measures.dictionary import Scheme
from pipeline.study.design import Design, unknown_keys
from pipeline.study.findings import cut, findings, shortened
from pipeline.study.implants import with_implants
from pipeline.study.keys import set_at
from pipeline.study.published import Published
from pipeline.study.question import PrimaryOutcome, Question
from pipeline.study.robustness import Robustness
from pipeline.study.slips import fit, read_toml
from pipeline.study.stages import Stage

MOST_BYTES = 1_000_000  # of a study file; two hundred constructs take 400 kB
_NAMING = {"of": "construct", "against": "construct", "stage": "stage", "load": "load"}
"""Keys of tables that name something of the study, and of which kind it is."""


class MeshChoice(Parameters):
    """How fine the mesh is."""

    level: Literal["coarse", "default", "fine"] = Field(
        "default",
        description="coarse for a first look, default for results, fine to check them.",
    )


class Show(Parameters):
    """What the terminal table and the pictures show."""

    stage: str | None = Field(None, description="Stage; by default the first that is not empty.")
    load: str | None = Field(None, description="Load; by default the first.")


class StudyConfig(Parameters):
    """A whole study: common inputs, constructs, tissue stages, loads and mesh level."""

    schema_version: Literal[1] = Field(description="Version of this file format.")
    title: str = Field(min_length=1, max_length=120, description="What is compared.")
    femur: Femur = Field(Femur(), description="The bone.")
    defect: Defect = Field(Defect(), description="The gap, unless a construct has its own.")
    mesh: MeshChoice = Field(MeshChoice(), description="The mesh.")
    stages: tuple[Stage, ...] = Field(min_length=1, max_length=20, description="Tissue stages.")
    loads: tuple[Load, ...] = Field(min_length=1, max_length=40, description="Loads.")
    constructs: tuple[Construct, ...] = Field(
        min_length=1, max_length=200, description="What is compared."
    )

    strain_bands: tuple[Scheme, ...] = Field(
        ("classical", "deviatoric"),
        max_length=3,
        description="Schemes by which tissue strain is sorted into bands.",
    )
    show: Show = Field(Show(), description="What the terminal table and the pictures show.")
    question: Question = Field(Question(), description="What the study is asked.")
    published: tuple[Published, ...] = Field(
        (), max_length=40, description="Published measurements that results are set beside."
    )
    design: Design | None = Field(None, description="Variants of the study, all of them run.")
    explore: Annotated[bool, Strict()] = Field(
        False,
        description="Whether the report answers for other inputs by itself, which takes a reduced "
        "model of each construct. It does so too where one of the following three is asked for.",
    )
    takeover: Annotated[bool, Strict()] = Field(
        False,
        description="Whether each construct is followed over the stiffness of the tissue in its gap.",
    )
    assumptions: Annotated[bool, Strict()] = Field(
        False, description="Whether each assumption of the model is tried the other way too."
    )
    robustness: Robustness | None = Field(
        None, description="Inputs that nobody knows, drawn at random to see whether the answer holds."
    )

    @field_validator("schema_version", mode="before")
    @classmethod
    def _not_a_truth_value(cls, value: object) -> object:
        return str(value).lower() if isinstance(value, bool) else value

    @property
    def asks_more(self) -> bool:
        """Whether it asks for more than its results, which reduced models answer."""
        return self.robustness is not None or self.takeover or self.assumptions or self.explore

    @property
    def places(self) -> dict[str, int]:
        """Place of each construct, and of each at a bound of its interfaces, in the study."""
        listed = (made.name for one in self.constructs for made, _ in one.at_bounds())
        return {name: number for number, name in enumerate(listed)}

    def in_order(self, names: Iterable[str]) -> list[str]:
        """Names of constructs as the study lists them; what a run adds comes last."""
        places = self.places
        return sorted(names, key=lambda name: places.get(name, len(places)))

    @property
    def shown(self) -> tuple[str, str]:
        """Names of the stage and the load that are shown."""
        filled = [stage.name for stage in self.stages if stage.material().modulus > 0]
        stage = self.show.stage or (filled or [self.stages[0].name])[0]
        return stage, self.show.load or self.loads[0].name

    @property
    def asked(self) -> PrimaryOutcome:
        """The primary outcome, what is left out filled in with what is shown."""
        stage, load = self.shown
        question = self.question
        return PrimaryOutcome(
            question.quantity, question.location, question.stage or stage, question.load or load
        )

    @property
    def _names(self) -> dict[str, list[str]]:
        groups: dict[str, Iterable[Any]] = {
            "stage": self.stages, "load": self.loads, "published": self.published,
            "construct": [variant for one in self.constructs for variant, _ in one.at_bounds()],
        }  # fmt: skip
        return {key: [item.name for item in items] for key, items in groups.items()}

    @model_validator(mode="after")
    def _names_differ(self) -> Self:
        for key, names in self._names.items():
            twice = sorted({name for name in names if names.count(name) > 1})
            if twice:
                place = key if key == "published" else f"{key}s"
                raise ValueError(
                    f"{place}: the name {twice[0]!r} occurs more than once; give each its own"
                )
        return self

    @model_validator(mode="after")
    def _names_known(self) -> Self:
        known = self._names
        tables: dict[str, Parameters] = {"show": self.show, "question": self.question}
        tables |= {f"published {one.name!r}": one for one in self.published}
        for place, table in tables.items():
            for key, kind in _NAMING.items():
                name = getattr(table, key, None)
                if name is not None and name not in known[kind]:
                    where = f"{place}.{key}" if place in ("show", "question") else f"{place}: {key}"
                    raise ValueError(
                        f"{where} = {name!r} is not in the study; allowed "
                        f"{', '.join(known[kind])}; correct it"
                    )
        return self

    @model_validator(mode="after")
    def _loads_reach_the_bone(self) -> Self:
        for load in self.loads:
            try:
                check_points(load, self.femur)
            except StudyError as error:
                raise ValueError(str(error)) from None
        return self

    @model_validator(mode="after")
    def _design_moves_what_is_there(self) -> Self:
        for finding in unknown_keys(self.design, self) if self.design else ():
            raise ValueError(finding)
        return self


def load_study(path: Path, changes: tuple[str, ...] = ()) -> StudyConfig:
    """Read and validate a study file.

    Changes to its keys are ``dotted.key=value`` with a TOML value; list entries go by number or name.

    Raises
    ------
    StudyError
        One line per finding: key, value, what is allowed, what to do.
    """
    text = text_of(path)
    data = read_toml(text, str(path))
    for change in changes:
        _apply(data, change)
    return parse_study(data, str(path), text)


def text_of(path: Path, what: str = "study file") -> str:
    """Text of a study file, or of another that a person wrote.

    Raises
    ------
    StudyError
        If it is not there, no text, or too long.
    """
    try:
        with path.open("rb") as file:
            content = file.read(MOST_BYTES + 1)  # no more, whatever the path leads to
        text = content.decode("utf-8-sig").replace("\r\n", "\n").replace("\r", "\n")
    except FileNotFoundError:
        raise StudyError(f"{path}: no such file; give the path of a {what}") from None
    except (OSError, UnicodeDecodeError) as error:
        raise StudyError(f"{path}: can not be read ({error}); give a text file") from None
    if len(content) > MOST_BYTES:
        raise StudyError(f"{path}: longer than {MOST_BYTES} bytes; allowed is that; give a {what}")
    return text


def parse_study(data: dict[str, Any], place: str, text: str = "") -> StudyConfig:
    """Validate the contents of a study file; each finding opens with its `place`."""
    whole = with_implants(fit(data, place), place)
    try:
        return StudyConfig.model_validate(whole)
    except ValidationError as error:
        raise StudyError(findings(error, StudyConfig, data, place, text)) from None


def _apply(data: dict[str, Any], change: str) -> None:
    """Change one key of a study file's contents."""
    key, equals, text = change.partition("=")
    if not equals or not key.strip():
        raise StudyError(
            f"--set {shortened(change)}: allowed is dotted.key=value, as in mesh.level=coarse"
        )
    value = _value(text.strip(), change)
    try:
        set_at(data, key.strip(), value)
    except StudyError as error:
        raise StudyError(f"--set {shortened(change)}: {cut(str(error))}") from None


def _value(text: str, change: str) -> object:
    """A TOML value, or else the text itself."""
    try:
        found = tomllib.loads(f"value = {text}")
    except (ValueError, RecursionError):
        return text
    if set(found) != {"value"}:
        raise StudyError(f"--set {shortened(change)}: one value only; give each key a --set of its own")
    return found["value"]
