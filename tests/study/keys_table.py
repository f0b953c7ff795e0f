"""The tables of keys in configs/README.md, made from the models that read a study file.

``python -m tests.study.keys_table`` writes them anew; a test holds them against the models.
"""

from __future__ import annotations

from collections.abc import Iterator
from inspect import get_annotations
from pathlib import Path
from types import NoneType, UnionType
from typing import Annotated, Any, Literal, Union, get_args, get_origin

from pydantic import BaseModel
from pydantic.fields import FieldInfo

from geometries import bone, constructs, parameters, plating
from geometries.sources import Source
from pipeline.loading import loads
from pipeline.study import config, design, factors, published, question, robustness, stages
from pipeline.study.units import TAGS

PLACE = Path(__file__).parents[2] / "configs" / "README.md"
BEGIN, END = "<!-- keys: begin, written by python -m tests.study.keys_table -->", "<!-- keys: end -->"
HEAD = "| key | allowed | default | what |\n|---|---|---|---|"
Model = type[BaseModel]

# Groups of tables; of each its heading and the model that it shows. A key that a model has from another
# of these models stands there.
GROUPS: dict[str, dict[str, Model]] = {
    "The study": {
        "The top of the file": config.StudyConfig,
        "`[mesh]`": config.MeshChoice,
        "`[show]`": config.Show,
        "`[question]`": question.Question,
    },
    "Bone, gap and tissue": {
        "`[femur]`": bone.Femur,
        "`[defect]`, in a construct too": bone.Defect,
        "`[[stages]]`": stages.Stage,
    },
    "Loads": {
        "`[[loads]]`, every kind": loads.Supported,
        '`kind = "hip_force"`': loads.HipForce,
        '`kind = "torsion"`': loads.Torsion,
        '`kind = "bending"`': loads.Bending,
        '`kind = "end_force"`': loads.EndForce,
        '`kind = "stance"`': loads.Stance,
        '`kind = "walking"`': loads.Walking,
        '`kind = "stairs"`': loads.Stairs,
        '`kind = "forces"`': loads.Forces,
        "Each of its `forces`": loads.PointForce,
    },
    "Constructs": {
        "`[[constructs]]`, every kind": constructs.Compared,
        '`kind = "intact"`': constructs.IntactConstruct,
        '`kind = "nail"`': constructs.NailConstruct,
        '`kind = "exchange_nail"`': constructs.ExchangeNailConstruct,
        '`kind = "plate"`': constructs.PlateConstruct,
        '`kind = "nail_plate"`': constructs.NailPlateConstruct,
        '`kind = "two_plates"`': constructs.TwoPlatesConstruct,
        '`kind = "stem_plate"`': constructs.StemPlateConstruct,
        '`kind = "specimen"`': constructs.Specimen,
        "Each of its `layers`": constructs.Layer,
    },
    "Implants": {
        "`nail`": parameters.Nail,
        "`nail` of an exchange nail, otherwise as above": parameters.ExchangeNail,
        "`nail.bolts`": parameters.Bolts,
        "`stem`": parameters.Stem,
        "`plate`": plating.Plate,
        "`second`, the second plate, otherwise as above": plating.SecondPlate,
        "`plate.screws`": plating.Screws,
    },
    "Published measurements": {"`[[published]]`": published.Published},
    "Designs": {
        "`[design]`, every kind": design.Varied,
        '`kind = "grid"`': design.Grid,
        '`kind = "paired"`': design.Paired,
        '`kind = "one_at_a_time"`': design.OneAtATime,
        '`kind = "latin_hypercube"`': design.LatinHypercube,
        '`kind = "sobol_sequence"`': design.SobolSequence,
        '`kind = "sobol_indices"`': design.SobolIndices,
        '`kind = "morris"`': design.Morris,
        "`[[design.factors]]`": factors.Factor,
    },
    "Inputs that nobody knows": {
        "`[robustness]`": robustness.Robustness,
        "`[[robustness.inputs]]`, every distribution": robustness.UncertainInput,
        "`[[robustness.inputs]]`, every number": robustness.RangedInput,
        '`distribution = "uniform"`': robustness.Uniform,
        '`distribution = "log_uniform"`': robustness.LogUniform,
        '`distribution = "normal"`': robustness.Normal,
        '`distribution = "cone"`': robustness.Cone,
    },
}
TABLES = {heading: model for group in GROUPS.values() for heading, model in group.items()}


def own_keys(model: Model) -> dict[str, FieldInfo]:
    """Keys of a model's table: without its kind, and without those that another table shows."""
    above = [base for base in model.__mro__[1:] if base in TABLES.values()]
    own = [base for base in model.__mro__ if not any(issubclass(other, base) for other in above)]
    declared = {name for base in own for name in get_annotations(base)} - {*TAGS}
    return {name: field for name, field in model.model_fields.items() if name in declared}


def tables() -> str:
    """All tables, group by group."""
    groups = (
        "\n\n".join([f"### {title}", *(_table(*pair) for pair in group.items())])
        for title, group in GROUPS.items()
    )
    return "\n\n".join(groups)


def _table(heading: str, model: Model) -> str:
    words = (model.__doc__ or "").partition("\n")[0]
    rows = [
        f"| `{name}` | {allowed(field.annotation, field)} | {default(field)} | {_words(field)} |"
        for name, field in own_keys(model).items()
    ]
    return "\n\n".join([f"#### {heading}", words, *(["\n".join([HEAD, *rows])] if rows else [])])


def _words(field: FieldInfo) -> str:
    """Description of a field, with where its numbers come from."""
    source = next((mark for mark in field.metadata if isinstance(mark, Source)), None)
    words = field.description or ""
    return source.after(words) if source else words


def default(field: FieldInfo) -> str:
    """A default as it would stand in the file."""
    if field.is_required():
        return "required"
    if isinstance(field.default, BaseModel):
        given = field.default.model_dump(exclude_unset=True)
        return ", ".join(f"`{key} = {_toml(value)}`" for key, value in given.items()) or "its defaults"
    return "none" if field.default in (None, (), "") else f"`{_toml(field.default)}`"


def _toml(value: object) -> str:
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, list | tuple):
        return f"[{', '.join(map(_toml, value))}]"
    return f'"{value}"' if isinstance(value, str) else f"{value}"


def allowed(kind: Any, *marks: Any) -> str:
    """What a key takes: numbers with their limits, words, lists, tables."""
    if get_origin(kind) is Annotated:
        inner, *more = get_args(kind)
        return allowed(inner, *more, *marks)
    limits = dict(_limits(marks))
    if get_origin(kind) in (Union, UnionType):
        words = [allowed(option, *marks) for option in get_args(kind) if option is not NoneType]
        if "number" in words and "whole number" in words:
            words.remove("whole number")
        return " or ".join(dict.fromkeys(words))
    if get_origin(kind) is Literal:
        return ", ".join(f"`{_toml(word)}`" for word in get_args(kind))
    if get_origin(kind) is tuple:
        return _of_list(get_args(kind), limits)
    if isinstance(kind, type) and issubclass(kind, BaseModel):
        return "a table"
    return _of_plain(kind, limits)


def _limits(marks: tuple[Any, ...]) -> Iterator[tuple[str, Any]]:
    """Limits that stand in annotations; of two for the same side the outer one."""
    plain = [m for mark in marks for m in (mark.metadata if isinstance(mark, FieldInfo) else [mark])]
    for mark in plain:
        for side in ("ge", "gt", "le", "lt", "multiple_of", "min_length", "max_length"):
            if getattr(mark, side, None) is not None:
                yield side, getattr(mark, side)


def _of_list(inside: tuple[Any, ...], limits: dict[str, Any]) -> str:
    if inside[-1] is not Ellipsis:
        return f"[{', '.join(allowed(one) for one in inside)}]"
    what = allowed(inside[0])
    least, most = limits.get("min_length", 0), limits.get("max_length")
    count = f"{least} to {most}" if most else "any number" if not least else f"{least} or more"
    return f"{count} tables" if what == "a table" else f"{count} of: {what}"


def _of_plain(kind: Any, limits: dict[str, Any]) -> str:
    if kind is bool:
        return "`true`, `false`"
    if kind is str:
        least, most = limits.get("min_length", 0), limits.get("max_length")
        return f"text, {least} to {most} characters" if most else "text"
    words = "whole, " if kind is int else ""
    if "multiple_of" in limits:
        words += f"multiple of {limits['multiple_of']}, "
    low, high = (limits.get(a, limits.get(b)) for a, b in (("ge", "gt"), ("le", "lt")))
    if low is None and high is None:
        return "whole number" if kind is int else "number"
    above, below = "above " * ("gt" in limits), "below " * ("lt" in limits)
    return f"{words}{above}{_number(low)} to {below}{_number(high)}"


def _number(value: float) -> str:
    """A limit; a million is not 1e+06."""
    return f"{int(value)}" if float(value).is_integer() else f"{value:g}"


def renewed(text: str) -> str:
    """A text with the tables between its two marks made anew."""
    before, _, rest = text.partition(BEGIN)
    _, _, after = rest.partition(END)
    return f"{before}{BEGIN}\n\n{tables()}\n\n{END}{after}"


if __name__ == "__main__":
    PLACE.write_text(renewed(PLACE.read_text(encoding="utf-8")), encoding="utf-8")
