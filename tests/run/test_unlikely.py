"""What can be built and is rarely meant is said with the plan, and what is usual is not."""

from __future__ import annotations

import copy
from math import inf
from pathlib import Path
from typing import Any

import pytest

from geometries.assembly import assemble
from geometries.bone import Defect, Femur
from geometries.constructs import NailConstruct
from geometries.facts import in_words, thinnest_reamed
from geometries.parameters import Nail, Stem
from pipeline.run.planning import plan
from pipeline.run.unlikely import unlikely
from pipeline.study.config import load_study, parse_study

CONFIGS = Path(__file__).parents[2] / "configs"


def _said(demo: dict[str, Any], **nails: dict[str, Any]) -> list[str]:
    """What is said of the demo with other nails, by the names of their constructs."""
    changed = copy.deepcopy(demo)
    for one in changed["constructs"]:
        one.setdefault("nail", {}).update(nails.get(one["name"].replace("-", "_"), {}))
        if "nail" not in one["kind"]:
            del one["nail"]
    return unlikely(plan(parse_study(changed, "demo")))


@pytest.mark.parametrize("name", ["demo", "nails", "stems", "twin-exchange-or-plate"])
def test_nothing_is_said_of_usual_studies(name: str):
    assert unlikely(plan(load_study(CONFIGS / f"{name}.toml"))) == []


def test_an_exchange_nail_is_larger_than_one_that_it_may_replace(demo: dict[str, Any]):
    """The study file does not say which; by the kinds it is one that stays in another construct."""
    (line,) = _said(demo, exchange_nail_12={"diameter_mm": 10.0})
    assert line.startswith(
        "exchange-nail-12: the exchange nail of 10 mm is larger than none that it may "
    )
    assert "nail-10 (10 mm), nail-10-plate (10 mm); if that is not meant" in line
    assert "distal" not in line, "at another gap it is another bone"
    assert len(_said(demo, exchange_nail_12={"diameter_mm": 9.0})) == 1
    assert not _said(demo, exchange_nail_12={"diameter_mm": 10.5})
    (copies,) = _said(demo, nail_10={"diameter_mm": 13.0})
    assert "copies" in copies, "the plated nail is thinner still"
    thick = {"diameter_mm": 13.0}
    assert len(_said(demo, nail_10=thick, nail_10_plate=thick)) == 1


def test_an_exchange_nail_alone_is_compared_with_nothing(demo: dict[str, Any]):
    alone = [one for one in demo["constructs"] if one["kind"] in ("intact", "exchange_nail", "plate")]
    assert unlikely(plan(parse_study(demo | {"constructs": alone}, "demo"))) == []


def test_unlike_copies_of_one_implant_are_named(demo: dict[str, Any]):
    (line,) = _said(demo, nail_10={"bolts": {"distal": 1}, "reaming_mm": 1.5})
    assert line.startswith(
        "nail-10-plate and nail-10 have unlike copies of one nail: nail.reaming_mm = 1.0 and "
        "1.5, nail.bolts.distal = 2 and 1; if it is to be one, name it once in "
        "[implants.NAME] and give nail = 'NAME' in both."
    )
    other = {"length_mm": 340.0, "cannulation_mm": 4.0, "reaming_mm": 1.5, "material": "steel"}
    (line,) = _said(demo, nail_10=other)
    assert "and 1 more;" in line
    assert "material" not in line


def test_one_like_copy_is_enough(demo: dict[str, Any]):
    """A second, other nail alone is compared on purpose; the nearest is named where none is alike."""
    thin = {"kind": "nail", "name": "nail-9", "nail": {"diameter_mm": 9.0}}
    more = demo | {"constructs": [*demo["constructs"], thin]}
    assert unlikely(plan(parse_study(more, "demo"))) == []
    (line,) = _said(more, nail_10_plate={"diameter_mm": 11.0, "reaming_mm": 1.5},
                    nail_10={"reaming_mm": 1.5})  # fmt: skip
    assert line.startswith(
        "nail-10-plate and nail-10 have unlike copies of one nail: nail.diameter_mm = "
    )


def test_screws_that_a_second_plate_changes_are_named():
    """In this study they are to: the plates' screws would meet."""
    said = unlikely(plan(load_study(CONFIGS / "plates.toml")))
    assert [line.split(" have")[0] for line in said] == [
        f"opposite-{site} and lateral-{site}" for site in ("mid", "distal", "proximal")
    ]
    assert all("one plate: plate.screws.cortices = " in line for line in said)


def test_a_design_says_a_sentence_once(demo: dict[str, Any]):
    key = "constructs.exchange-nail-12.nail.diameter_mm"
    factors = [{"key": key, "values": [9.0, 10.0, 12.0]}]
    factors.append({"key": "femur.length_mm", "values": [420.0, 430.0]})
    study = parse_study(demo | {"design": {"kind": "grid", "factors": factors}}, "demo")
    assert [line.split(" mm")[0][-2:].strip() for line in unlikely(plan(study))] == ["9", "10"]


# --- Cortex ---------------------------------------------------------------------------------------


def test_cortex_is_thinnest_where_reaming_takes_bone_away():
    """By hand: a shaft of 24 mm outside, straight over its canal of 8 mm, reamed for 15 and 3 mm."""
    femur = Femur(shaft_diameter_mm=24.0, canal_diameter_mm=8.0)
    wide = Nail(diameter_mm=15.0, reaming_mm=3.0)
    assert thinnest_reamed(femur, wide) == pytest.approx(24 / 2 - 18 / 2)
    aside = Nail(
        diameter_mm=15.0, reaming_mm=1.0, distal_offset_mm=(1.5, 0.0), proximal_offset_mm=(1.5, 0.0)
    )
    assert thinnest_reamed(femur, aside) == pytest.approx(24 / 2 - 16 / 2 - 1.5)
    thin = Nail(diameter_mm=9.0, reaming_mm=0.5)
    assert thinnest_reamed(Femur(canal_diameter_mm=11.5), thin) == inf, (
        "the ends' thin shell is not reamed"
    )
    assert thinnest_reamed(Femur(), Stem()) < inf


@pytest.mark.parametrize(("reaming", "left"), [(3.1, "2.9 mm"), (2.9, None)])
def test_thin_cortex_is_said(demo: dict[str, Any], reaming: float, left: str | None):
    femur = {"shaft_diameter_mm": 24.0, "canal_diameter_mm": 8.0}
    nail = {"kind": "nail", "name": "wide", "nail": {"diameter_mm": 15.0, "reaming_mm": reaming}}
    study = parse_study(demo | {"femur": femur, "constructs": [nail]}, "demo")
    said = unlikely(plan(study))
    if left is None:
        assert said == []
        return
    (line,) = said
    assert line.startswith(f"wide: reaming leaves {left} of cortex at its thinnest, less than 3 mm (")
    assert "no source" in line
    assert "choose a thinner nail" in line


@pytest.mark.parametrize(
    ("diameter", "words"), [(14.0, ["canal reamed from 11.5 to 15 mm"]), (10.0, [])]
)
def test_a_reamed_canal_is_a_fact_of_the_plan(diameter: float, words: list[str]):
    nail = NailConstruct(kind="nail", name="nail", nail=Nail(diameter_mm=diameter))
    facts = assemble(nail, Femur(canal_diameter_mm=11.5), Defect()).facts
    said = in_words(facts)
    assert [one for one in said if "reamed" in one] == words
    assert "gap centre" in said[0]
    assert len(said) == len(facts) - len(words)
    assert in_words({}) == []
