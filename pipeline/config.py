"""Study files: TOML to a validated study, with errors that a person can act on."""

from __future__ import annotations

import tomllib
from collections.abc import Iterable
from pathlib import Path
from typing import Annotated, Any, Literal, Self

from pydantic import Field, ValidationError, model_validator

from geometries.constructs import Construct
from geometries.errors import StudyError
from geometries.materials import TISSUES, Material
from geometries.parameters import Defect, Femur, Parameters

NAME = r"^[a-z0-9][a-z0-9_-]*$"


class HipForce(Parameters):
    """A force on the head centre, pointing down the shaft and leaning with adduction and flexion."""

    kind: Literal["hip_force"]
    name: str = Field(min_length=1, max_length=40, pattern=NAME, description="Name in tables.")
    force_n: float = Field(gt=0, le=10_000, description="Size, N.")
    adduction_deg: float = Field(
        6.0,
        ge=-30,
        le=45,
        description="Angle to the shaft in the frontal plane, degrees; positive "
        "pushes the head laterally. About 6 is the line from hip to knee (geometry of the default "
        "femur), 13 single-leg stance (from memory).",
    )
    flexion_deg: float = Field(
        0.0,
        ge=-60,
        le=60,
        description="Angle to the shaft in the sagittal plane, degrees; positive "
        "pushes the head backwards.",
    )


class Torsion(Parameters):
    """A torque about the shaft; positive turns the medial side of the proximal end forwards."""

    kind: Literal["torsion"]
    name: str = Field(min_length=1, max_length=40, pattern=NAME, description="Name in tables.")
    moment_nm: float = Field(description="Size, N·m: 5 to 10 on the bench (from memory).")


class Bending(Parameters):
    """A constant bending moment; positive tilts the proximal end medially, or forwards."""

    kind: Literal["bending"]
    name: str = Field(min_length=1, max_length=40, pattern=NAME, description="Name in tables.")
    plane: Literal["frontal", "sagittal"] = Field(description="Plane of bending.")
    moment_nm: float = Field(description="Size, N·m: 10 to 15 on the bench (from memory).")


class EndForce(Parameters):
    """A force on the middle of the proximal end."""

    kind: Literal["end_force"]
    name: str = Field(min_length=1, max_length=40, pattern=NAME, description="Name in tables.")
    medial_n: float = Field(0.0, description="Medial part, N.")
    anterior_n: float = Field(0.0, description="Anterior part, N.")
    proximal_n: float = Field(0.0, description="Part up the shaft, N; negative compresses.")


Load = Annotated[HipForce | Torsion | Bending | EndForce, Field(discriminator="kind")]


class Stage(Parameters):
    """Tissue in the gap: a stage of the built-in ladder, or any name with both constants."""

    name: str = Field(min_length=1, max_length=40, pattern=NAME, description="Name in tables.")
    modulus_mpa: float | None = Field(
        None,
        ge=0,
        le=25_000,
        description="Young's modulus, MPa; 0 leaves the gap empty.",
    )
    poisson_ratio: float | None = Field(
        None,
        ge=0,
        le=0.45,
        description="Poisson's ratio; above 0.45 these elements lock.",
    )

    @model_validator(mode="after")
    def _known(self) -> Self:
        if self.name not in TISSUES and (self.modulus_mpa is None or self.poisson_ratio is None):
            raise ValueError(
                f"name = {self.name!r} is not built in; allowed {', '.join(TISSUES)}, or give both "
                "modulus_mpa and poisson_ratio"
            )
        return self

    def material(self) -> Material:
        """Constants of the stage."""
        known = TISSUES.get(self.name, Material(0.0, 0.0, "study file"))
        given = self.modulus_mpa is not None or self.poisson_ratio is not None
        return Material(
            known.modulus if self.modulus_mpa is None else self.modulus_mpa,
            known.poisson if self.poisson_ratio is None else self.poisson_ratio,
            "study file" if given else known.source,
        )


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

    show: Show = Field(Show(), description="What the terminal table and the pictures show.")

    @property
    def shown(self) -> tuple[str, str]:
        """Names of the stage and the load that are shown."""
        filled = [stage.name for stage in self.stages if stage.material().modulus > 0]
        stage = self.show.stage or (filled or [self.stages[0].name])[0]
        return stage, self.show.load or self.loads[0].name

    @model_validator(mode="after")
    def _names_differ(self) -> Self:
        groups: dict[str, Iterable[Stage | Any]] = {
            "stages": self.stages, "loads": self.loads, "constructs": self.constructs,
        }  # fmt: skip
        for key, items in groups.items():
            names = [item.name for item in items]
            twice = sorted({name for name in names if names.count(name) > 1})
            if twice:
                raise ValueError(
                    f"{key}: the name {twice[0]!r} occurs more than once; give each its own"
                )
        for key, name, items in (
            ("stage", self.show.stage, self.stages),
            ("load", self.show.load, self.loads),
        ):
            known = [item.name for item in items]
            if name is not None and name not in known:
                raise ValueError(
                    f"show.{key} = {name!r} is not in the study; allowed {', '.join(known)}"
                )
        return self


def load_study(path: Path, changes: tuple[str, ...] = ()) -> StudyConfig:
    """Read and validate a study file.

    Parameters
    ----------
    path : Path
        TOML file.
    changes : tuple of str
        Changes to its keys, each ``dotted.key=value`` with a TOML value; list entries by number.

    Returns
    -------
    StudyConfig
        Validated, frozen.

    Raises
    ------
    StudyError
        One line per finding: key, value, what is allowed, what to do.
    """
    try:
        data = tomllib.loads(path.read_text(encoding="utf-8"))
    except FileNotFoundError:
        raise StudyError(f"{path}: no such file; give the path of a study file") from None
    except (OSError, UnicodeDecodeError) as error:
        raise StudyError(f"{path}: can not be read ({error}); give a text file") from None
    except tomllib.TOMLDecodeError as error:
        raise StudyError(f"{path}: not valid TOML: {error}; correct that line") from None
    for change in changes:
        _apply(data, change)
    return parse_study(data, str(path))


def parse_study(data: dict[str, Any], place: str) -> StudyConfig:
    """Validate the contents of a study file; `place` opens each error line."""
    try:
        return StudyConfig.model_validate(data)
    except ValidationError as error:
        lines = [f"{place}: {_line(detail)}" for detail in error.errors()]
        raise StudyError("\n".join(dict.fromkeys(lines))) from None


def _apply(data: dict[str, Any], change: str) -> None:
    key, equals, text = change.partition("=")
    if not equals or not key.strip():
        raise StudyError(f"--set {change}: allowed is dotted.key=value, as in mesh.level=coarse")
    try:
        value = tomllib.loads(f"value = {text}")["value"]
    except tomllib.TOMLDecodeError:
        value = text
    *parents, last = key.strip().split(".")
    node: Any = data
    for name in parents:
        if isinstance(node, dict) and (name in node or not name.isdigit()):
            node = node.setdefault(name, {})
        elif isinstance(node, list) and name.isdigit() and int(name) < len(node):
            node = node[int(name)]
        else:
            raise StudyError(f"--set {change}: {name!r} is not there; name a key of the study file")
    if isinstance(node, dict):
        node[last] = value
    elif isinstance(node, list) and last.isdigit() and int(last) < len(node):
        node[int(last)] = value
    else:
        raise StudyError(f"--set {change}: {last!r} is not there; name a key of the study file")


_REMEDIES = {
    "extra_forbidden": "unknown key; remove it or correct its spelling",
    "missing": "missing; add it",
    "finite_number": "allowed is a finite number; correct it",
    "union_tag_not_found": "the key 'kind' is missing; add it",
}


def _line(detail: Any) -> str:
    """One finding of pydantic as one line: key, value, limit, remedy."""
    # The tag of a union stands in the location, though it is no key of the file.
    kinds = {"intact", "nail", "exchange_nail", "plate", "nail_plate", "specimen",
             "hip_force", "torsion", "bending", "end_force"}  # fmt: skip
    steps = list(detail["loc"])
    path = [
        str(step)
        for k, step in enumerate(steps)
        if not (k > 0 and step in kinds and isinstance(steps[k - 1], int))
    ]
    key = ".".join(path) or "study"
    found = detail["input"]
    shown = "" if isinstance(found, dict | list | tuple) else f" = {_short(found)}"
    kind, message = detail["type"], detail["msg"]
    if kind == "value_error":
        return f"{key}: {message.removeprefix('Value error, ')}"
    remedy = _REMEDIES.get(kind)
    if remedy:
        return f"{key}{'' if kind == 'missing' else shown}: {remedy}"
    text = message[0].lower() + message[1:]
    return f"{key}{shown}: {text.replace(chr(10), ' ')}; correct it"


def _short(value: object) -> str:
    text = repr(value)
    return text if len(text) <= 60 else text[:57] + "..."
