"""What holds what: refusals, and warnings that nothing but tissue joins the bone ends."""

from __future__ import annotations

from typing import Any

import pytest

from geometries.assembly import assemble
from geometries.bone import Defect, Femur
from geometries.constructs import (
    Construct,
    IntactConstruct,
    NailConstruct,
    NailPlateConstruct,
    PlateConstruct,
    StemPlateConstruct,
)
from geometries.errors import StudyError
from geometries.loadpath import unheld

FEMUR, GAP = Femur(), Defect()
DYNAMIC = {"bolts": {"proximal": 0}}
BOLT_FREE = {"bolts": {"proximal": 0, "distal": 0}}
BROKEN = {"break_mm": 216.3}
SHORT = {"length_mm": 165.0, "bolts": {"first_mm": 12.0, "spacing_mm": 14.0}}  # 35 to 200 mm
SLENDER = {"diameter_mm": 9.0}  # fits nowhere


def nail(**nail: Any) -> Construct:
    return NailConstruct(name="n", kind="nail", nail=nail)


def nail_plate(**nail: Any) -> Construct:
    return NailPlateConstruct(name="n", kind="nail_plate", nail=nail, plate={"offset_mm": 2.5})


def judged(construct: Construct, defect: Defect = GAP) -> tuple[list[str], str]:
    return unheld(FEMUR, defect, construct.rod, construct.plates)


@pytest.mark.parametrize("make", [nail, nail_plate])
def test_nail_without_bolts_is_refused_as_a_mechanism(make: Any):
    # Statics: a smooth bar that passes through its hole's wall is held in no direction. The refusal
    # names where it is, what is allowed, and every free motion.
    findings, _ = judged(make(**BOLT_FREE, canal="void"))
    (line,) = findings
    motions = ("slides along the shaft", "turns about it", "shifts and tilts")
    for word in ("nail", "35 and 395 mm", *motions, "1 bolt", "contact", "filler", "bonded"):
        assert word in line
    with pytest.raises(StudyError, match=r"construct 'n': nail: no bolt holds it"):
        assemble(make(**BOLT_FREE, canal="void"), FEMUR, GAP)


def test_each_half_of_a_broken_nail_needs_a_bolt():
    # Statics: the proximal half has none.
    findings, _ = judged(nail(**BROKEN, **DYNAMIC, canal="void"))
    (line,) = findings
    assert "between 216.55 and 395 mm" in line


LOOSE: dict[str, tuple[Construct, Defect]] = {
    "bolts at one end": (nail(**DYNAMIC), GAP),
    "contact with the canal alone": (nail(**BOLT_FREE), GAP),
    "broken, half of it without bolts": (nail(**BROKEN, **DYNAMIC), GAP),
    "broken": (nail(**BROKEN), GAP),
    "short of the gap": (nail(**SHORT), GAP),
    "above the gap": (nail(**{**SHORT, "distal_end_mm": 225.0}), GAP),
    "broken, with marrow": (nail(**BROKEN, canal="filler"), GAP),
    "tied on one side, bolts there too": (nail(**SHORT, canal="filler"), GAP),
}
HELD: dict[str, tuple[Construct, Defect]] = {
    "bolts at both ends": (nail(), GAP),
    "dynamic under a plate": (nail_plate(**DYNAMIC), GAP),
    "broken under a plate": (nail_plate(**BROKEN), GAP),
    "short under a plate": (nail_plate(**SHORT), GAP),
    "contact with the canal alone under a plate": (nail_plate(**BOLT_FREE), GAP),
    "plate alone": (PlateConstruct(name="p", kind="plate"), GAP),
    "stem and plate": (StemPlateConstruct(name="s", kind="stem_plate"), GAP),
    "dynamic with marrow": (nail(**DYNAMIC, canal="filler"), GAP),
    "marrow alone": (nail(**BOLT_FREE, canal="filler"), GAP),
    "tie alone": (nail(**BOLT_FREE, diameter_mm=12.0, canal="bonded"), GAP),
    "dynamic, bridged": (nail(**DYNAMIC), Defect(bridge_percent=7.0)),
    "broken, bridged": (nail(**BROKEN), Defect(bridge_percent=7.0)),
}


@pytest.mark.parametrize("case", LOOSE)
def test_what_only_tissue_joins_is_said_to_be_loose(case: str):
    # Statics: follow solids, not tissue, from one bone end to the other. It is no refusal, since with
    # tissue it stands.
    construct, defect = LOOSE[case]
    findings, loose = judged(construct, defect)
    assert findings == []
    motions = ("slides along the shaft", "turns about it", "shifts and tilts")
    for word in ("only tissue", "proximal fragment", *motions, "empty", "bolts, screws or a plate"):
        assert word in loose
    assert assemble(construct, FEMUR, defect).loose == loose


@pytest.mark.parametrize("case", HELD)
def test_what_implants_or_bone_join_is_not_loose(case: str):
    # Statics, as above.
    construct, defect = HELD[case]
    assert judged(construct, defect) == ([], "")


def test_nail_that_the_canal_does_not_hold_is_not_tied():
    # Definition: bonded where it fits, and it fits nowhere.
    findings, loose = judged(nail(**SLENDER, **BOLT_FREE, canal="bonded"))
    assert len(findings) == 1
    assert loose


def test_intact_bone_is_never_loose():
    # Definition: the place of the gap is bone.
    assert assemble(IntactConstruct(name="i", kind="intact"), FEMUR, GAP).loose == ""
