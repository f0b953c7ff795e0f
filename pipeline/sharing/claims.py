"""Sentences of a paper that rest on numbers of a study, and whether the study bears them out."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from math import isfinite
from pathlib import Path
from typing import Literal, Self

from pydantic import Field, ValidationError, field_validator, model_validator

from geometries.errors import StudyError
from geometries.parameters import Parameters, Real
from pipeline.measures.dictionary import BY_SIZE, QUANTITIES, known_quantity
from pipeline.storage.files import Cells
from pipeline.study.config import text_of
from pipeline.study.findings import findings
from pipeline.study.slips import read_toml
from pipeline.tables.judged import FAILS, HOLDS, NOT_CHOSEN, NOT_JUDGED, OPEN
from pipeline.tables.lookup import Reading, Results, ratio_error
from pipeline.tables.rows import Key, Row, label_of

BOUNDS = ("less_than", "greater_than")
LARGEST = 1e6  # as of a published measurement


class Claim(Parameters):
    """One sentence, the number in it, and the result that the number is of.

    Where a sign only says which way (gap movement along the shaft, interfragmentary strain), changes,
    ratios and bounds are those of sizes, as in ``comparisons.csv``; a value keeps its sign.
    """

    sentence: str = Field(min_length=10, max_length=400, description="The paper's words.")
    kind: Literal["value", "change_percent", "ratio", "less_than", "greater_than"] = Field(
        description="value of the construct; its change from the other one, percent, negative where "
        "it is lower; ratio of it to the other one; or that it is less or more than the other one, "
        "or than the stated value."
    )
    quantity: str = Field(description="A quantity of the data dictionary.")
    location: str | None = Field(None, description="Where it is read, unless there is but one place.")
    stage: str = Field(description="Tissue stage; constructs without a gap have none to choose.")
    load: str = Field(description="Load.")
    of: str = Field(alias="construct", description="Construct that the sentence is about.")
    compared_with: str | None = Field(None, description="Construct that it is compared with.")
    variant: str = Field("", description="Variant, where the study has a design.")
    value: Real | None = Field(
        None, ge=-LARGEST, le=LARGEST, description="Number of the sentence, in the unit below."
    )
    unit: str | None = Field(None, description="The dictionary's of a value or bound, % or 1.")
    tolerance: Real | None = Field(
        None, gt=0, le=LARGEST, description="How far off the result may be, same unit."
    )
    within_percent: Real | None = Field(
        None, gt=0, le=100, description="The same, in percent of the stated value."
    )
    source: str = Field(
        "", max_length=400, description="Where the sentence stands: paper, page, table."
    )

    @field_validator("quantity")
    @classmethod
    def _in_the_dictionary(cls, quantity: str) -> str:
        return known_quantity(quantity)

    @model_validator(mode="after")
    def _whole(self) -> Self:
        bounded, other = self.kind in BOUNDS, self.compared_with
        if bounded and (self.value is None) == (other is None):
            raise ValueError(f"kind = {self.kind!r} needs either value or compared_with; give one")
        if not bounded and self.value is None:
            raise ValueError(f"kind = {self.kind!r} needs the value that is stated; add it")
        if not bounded and (self.kind == "value") != (other is None):
            raise ValueError(
                f"kind = {self.kind!r} with compared_with = {other!r}: allowed a value alone, or a "
                "ratio or change against another construct; add or remove compared_with"
            )
        if other == self.of:
            raise ValueError(f"compared_with = {other!r} is the construct itself; name another one")
        allowances = [self.tolerance, self.within_percent]
        if allowances.count(None) != (2 if bounded else 1):
            raise ValueError(
                "allowed is either tolerance or within_percent, and neither for a bound; correct these"
            )
        if self.within_percent is not None and self.value == 0:
            raise ValueError("within_percent of value = 0 allows nothing; give a tolerance")
        return self

    @model_validator(mode="after")
    def _in_its_unit(self) -> Self:
        own = {"ratio": "1", "change_percent": "%"}.get(self.kind, QUANTITIES[self.quantity].unit)
        expected = None if self.value is None else own
        if self.unit != expected:
            wanted = f"unit = {expected!r}" if expected else "none, as no value is stated"
            raise ValueError(
                f"unit = {self.unit!r}: allowed is {wanted} for kind = {self.kind!r} of "
                f"{self.quantity}; correct it"
            )
        return self

    @property
    def allowed(self) -> float:
        """How far off the result may be, in the claim's unit."""
        if self.tolerance is not None:
            return self.tolerance
        return abs(self.value or 0.0) * (self.within_percent or 0.0) / 100

    @property
    def constructs(self) -> tuple[str, ...]:
        """What must have been run to judge it: its construct, then the one compared with."""
        return (self.of,) if self.compared_with is None else (self.of, self.compared_with)

    @property
    def what(self) -> str:
        """The result in words."""
        whose = self.of + (f" against {self.compared_with}" if self.compared_with else "")
        where = f" at {self.location}" if self.location else ""
        variant = f", variant {self.variant}" if self.variant else ""
        return f"{self.quantity}{where}, {whose}, stage {self.stage}, load {self.load}{variant}"


class _Claims(Parameters):
    claims: tuple[Claim, ...] = Field(max_length=400, description="Sentences of a paper.")

    @field_validator("claims")
    @classmethod
    def _some(cls, claims: tuple[Claim, ...]) -> tuple[Claim, ...]:
        if not claims:
            raise ValueError("no claim; give at least one")
        return claims


def load_claims(path: Path) -> tuple[Claim, ...]:
    """Read and validate a claims file.

    Raises
    ------
    StudyError
        One line per finding: key, value, what is allowed, what to do.
    """
    text = text_of(path, "claims file")
    data = read_toml(text, str(path))
    try:
        return _Claims.model_validate(data).claims
    except ValidationError as error:
        raise StudyError(findings(error, _Claims, data, str(path), text)) from None


def judge(
    claims: Sequence[Claim], table: Sequence[Row], only: Collection[str] | None = None
) -> list[Cells]:
    """Set each claim beside all results of a study; rows have the cells of ``CLAIM_COLUMNS``.

    If `only` some constructs were run, claims of others are not judged and no failure.
    """
    return [_row(claim, table, only) for claim in claims]


def borne_out(judged: Sequence[Cells]) -> bool:
    """Whether no claim fails; one that can not be judged does."""
    return all(row["result"] in (HOLDS, NOT_CHOSEN) for row in judged)


def _row(claim: Claim, table: Sequence[Row], only: Collection[str] | None) -> Cells:
    row: Cells = {
        **{name: getattr(claim, name) for name in ("sentence", "source", "kind", "variant")},
        **{name: getattr(claim, name) or "" for name in ("compared_with", *Key._fields)},
        "construct": claim.of,
        "what": claim.what,
        "computed": "",
        "error": "",
        "stated": "" if claim.value is None else claim.value,
        "allowed": claim.allowed or "",
        "unit": claim.unit or QUANTITIES[claim.quantity].unit,
        "flags": "",
    }
    labels = {label_of(claim.variant, name) for name in claim.constructs}
    if only is not None and not labels <= set(only):
        return row | {"result": NOT_CHOSEN, "reason": "a construct of it was not run"}
    mine = Results([one for one in table if one.variant == claim.variant])
    return row | _result(claim, mine)


def _result(claim: Claim, mine: Results) -> Cells:
    """Result of a claim by the results of its variant."""
    absent = [name for name in claim.constructs if name not in mine.constructs]
    if absent:
        whose = f" of variant {claim.variant!r}" if claim.variant else ""
        known = ", ".join(mine.constructs) or "nothing"
        reason = f"no results of {absent[0]}{whose}, only of {known}; correct construct or variant"
        return {"result": NOT_JUDGED, "reason": reason}
    read = [mine.look_up(claim, name) for name in claim.constructs]
    if any(one.value is None for one in read):
        return {"result": NOT_JUDGED, "reason": next(one.reason for one in read if one.reason)}
    flags: Cells = {"flags": _flags(claim, read)}
    if claim.kind in ("ratio", "change_percent") and read[1].value == 0:
        reason = f"{claim.compared_with} has 0, which nothing can be divided by"
        return flags | {"result": NOT_JUDGED, "reason": reason}
    return flags | _judged(claim, read)


def _flags(claim: Claim, read: Sequence[Reading]) -> str:
    """What puts the results in doubt, and of two constructs whose each doubt is."""
    doubts = [
        flag if claim.compared_with is None else f"{name}: {flag}"
        for name, one in zip(claim.constructs, read, strict=True)
        for flag in one.flags.split("; ")
        if flag
    ]
    return "; ".join(dict.fromkeys(doubts))


def _judged(claim: Claim, read: Sequence[Reading]) -> Cells:
    """What is computed from one or two results, and whether it is what was stated."""
    values = [one.value or 0.0 for one in read]
    computed, stated, error = _numbers(claim, read, values)
    if claim.kind in BOUNDS:
        over = computed - stated if claim.kind == "less_than" else stated - computed
        holds = over < 0
    else:
        over = abs(computed - stated) - claim.allowed
        holds = over <= 0
    unlike = len(values) == 2 and values[0] * values[1] < 0
    is_open = isfinite(error) and error > 0 and abs(over) <= error
    words = (("the two are of unlike sign", unlike), (OPEN, is_open))
    return {
        "computed": computed,
        "error": error if isfinite(error) else "",
        "stated": stated,
        "result": HOLDS if holds else FAILS,
        "reason": "; ".join(said for said, applies in words if applies),
    }


def _numbers(
    claim: Claim, read: Sequence[Reading], values: Sequence[float]
) -> tuple[float, float, float]:
    """What is computed, what that is held against, and the errors of all results in it."""
    stated = claim.value or 0.0
    if claim.kind == "value":
        return values[0], stated, read[0].error
    own, other = [abs(one) if claim.quantity in BY_SIZE else one for one in (*values, stated)][:2]
    if claim.kind in BOUNDS:
        return own, other, sum(one.error for one in read)
    ratio, error = own / other, ratio_error(*read)
    return (ratio, stated, error) if claim.kind == "ratio" else (100 * (ratio - 1), stated, 100 * error)
