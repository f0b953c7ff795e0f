"""The random studies that tests share: none leaves out what a study file may have."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from typing import Any, Literal, get_args, get_origin

import pytest
from hypothesis import given, settings

from geometries.parameters import Parameters
from pipeline.study.config import StudyConfig, parse_study
from pipeline.study.units import limits_of
from tests.draws import USUAL, Values
from tests.studies import KINDS, LOADS, PLACED, SPECIAL, features, seeded, studies, study

DRAWS = 300
NOT_DRAWN = {  # they leave the model alone
    *("strain_bands", "show", "question", "published", "design", "robustness"),
    *("explore", "takeover", "assumptions"),
}
CONSTANT = {"schema_version", "title", "name"}


@pytest.fixture(scope="module")
def drawn() -> list[StudyConfig]:
    chance = seeded(6)
    return [parse_study(study(chance), "drawn") for _ in range(DRAWS)]


def everything(model: Parameters) -> Iterator[tuple[type[Parameters], str, Any]]:
    """Every key that is given, with its table's model and its value."""
    for key in model.model_fields_set:
        value = getattr(model, key)
        yield type(model), key, value
        for inner in value if isinstance(value, tuple) else (value,):
            if isinstance(inner, Parameters):
                yield from everything(inner)


def test_every_kind_occurs(drawn: list[StudyConfig]):
    counted = Counter(one.constructs[0].kind for one in drawn)
    assert counted.keys() == KINDS.keys()
    assert min(counted.values()) > DRAWS / 20
    assert {load.kind for one in drawn for load in one.loads} == LOADS.keys()


def test_everything_special_occurs(drawn: list[StudyConfig]):
    counted = Counter(word for one in drawn for word in features(one))
    named = [*PLACED, *(word for table in SPECIAL.values() for word in table)]
    assert len(set(named)) == len(named)
    assert set(counted) == set(named)
    assert min(counted.values()) >= 3, counted.most_common()[-5:]


def test_every_key_and_every_word_occurs(drawn: list[StudyConfig]):
    """A key that a model gains is drawn from then on, or is missed here."""
    found = [one for config in drawn for one in everything(config)]
    given_keys = {(model, key) for model, key, _ in found}
    models = {model for model, _ in given_keys}
    declared = {(model, key) for model in models for key in model.model_fields}
    missed = {f"{model.__name__}.{key}" for model, key in declared - given_keys if key not in NOT_DRAWN}
    assert not missed
    words = {(key, value) for _, key, value in found if isinstance(value, str)}
    for model, key in declared:
        kind = model.model_fields[key].annotation
        if get_origin(kind) is Literal and key not in NOT_DRAWN | {"schema_version"}:
            lost = [word for word in get_args(kind) if (key, word) not in words]
            assert not lost, f"{model.__name__}.{key}"


def test_numbers_reach_either_end_and_what_lies_between(drawn: list[StudyConfig]):
    found = Counter[str]()
    for model, key, value in (one for config in drawn for one in everything(config)):
        if isinstance(value, float) and key not in CONSTANT:
            limits = limits_of(model, (key,))
            assert value in limits
            found[{limits.low: "low", limits.high: "high"}.get(value, "between")] += 1
    assert min(found[place] for place in ("low", "high", "between")) > 100


def test_what_is_usual_is_allowed():
    for model, ranges in USUAL.items():
        for key, several in ranges.items():
            field = model.model_fields[key]
            is_list = get_origin(field.annotation) is tuple
            limits = limits_of(model, (key, 0) if is_list else (key,))
            for low, high in several:
                assert low in limits, f"{model.__name__}.{key}"
                assert high in limits, f"{model.__name__}.{key}"
                assert low <= high


def test_the_same_seed_draws_the_same():
    first, second, other = (seeded(number) for number in (7, 7, 8))
    same = [study(first) for _ in range(20)]
    assert same == [study(second) for _ in range(20)]
    assert same != [study(other) for _ in range(20)]


@pytest.mark.parametrize("kind", KINDS)
def test_hypothesis_finds_studies_of_every_kind(kind: str):
    @settings(max_examples=15, deadline=None, derandomize=True, database=None)
    @given(studies(kind))
    def run(found: Values) -> None:
        assert parse_study(found, "drawn").constructs[0].kind == kind

    run()
