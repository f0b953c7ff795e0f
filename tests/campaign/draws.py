"""Random studies of one construct over the documented ranges, more often of a usual size."""

from __future__ import annotations

from typing import Any

import numpy as np

Random = np.random.Generator
Values = dict[str, Any]

KINDS = ("nail", "exchange_nail", "plate", "nail_plate", "two_plates", "stem_plate", "intact")
SHARES = (0.30, 0.10, 0.27, 0.13, 0.05, 0.13, 0.02)


def kind_of_construct(random: Random) -> str:
    """A kind, the commoner ones more often."""
    return str(random.choice(KINDS, p=SHARES))


def study(random: Random, kind: str) -> Values:
    """A study of one construct as read from a file; it may well be impossible to build."""
    bone, gap = femur(random), defect(random)
    centre = bone["length_mm"] * (1 - gap["site_percent"] / 100)
    construct: Values = {"kind": kind, "name": "drawn"}
    if kind in ("nail", "exchange_nail", "nail_plate"):
        construct["nail"] = nail(random, bone["length_mm"], centre)
    if "plate" in kind:
        construct["plate"] = plate(random, broad=True)
    if kind == "two_plates":
        turn = float(random.choice([90.0, -90.0, 180.0]))
        main, second = construct["plate"], plate(random, broad=False)
        azimuth = (main["azimuth_deg"] + turn + 180) % 360 - 180
        shift = main["shift_mm"] + main["pitch_mm"] / 2
        construct["second"] = second | {"azimuth_deg": azimuth, "shift_mm": shift}
    if kind == "stem_plate":
        construct["stem"] = stem(random)
    return {
        "schema_version": 1,
        "title": "campaign",
        "mesh": {"level": "coarse"},
        "femur": bone,
        "defect": gap,
        "stages": [{"name": "atrophic"}],
        "loads": [{"kind": "torsion", "name": "torsion", "moment_nm": 10.0}],
        "constructs": [construct],
    }


def _between(random: Random, low: float, high: float) -> float:
    """Anywhere in a range, one time in ten at either end."""
    return round(float(random.choice([low, high, random.uniform(low, high)], p=[0.1, 0.1, 0.8])), 2)


def femur(random: Random) -> Values:
    """Bone of any size."""
    bow = {"bow_radius_mm": _between(random, 700, 1400)} if random.random() < 0.15 else {}
    return bow | {
        "length_mm": _between(random, 380, 490),
        "shaft_diameter_mm": _between(random, 24, 32),
        "canal_diameter_mm": _between(random, 8, 15),
        "distal_diameter_mm": _between(random, 32, 45),
        "distal_cortex_mm": _between(random, 2.5, 6),
        "proximal_diameter_mm": _between(random, 32, 50),
    }


def defect(random: Random) -> Values:
    """A gap at any of the three sites, every other one of a plain shape."""
    sites = [(25, 35), (45, 55), (68, 80)]
    found: Values = {
        "site_percent": _between(random, *sites[random.choice(3, p=[0.2, 0.4, 0.4])]),
        "gap_mm": round(float(np.exp(random.uniform(np.log(0.5), np.log(60)))), 2),
    }
    if random.random() < 0.2:
        found |= {"oblique_deg": _between(random, 5, 60), "oblique_azimuth_deg": _azimuth(random)}
    if random.random() < 0.15:
        found |= {"wedge_mm": _between(random, 1, 10), "wedge_azimuth_deg": _azimuth(random)}
    if random.random() < 0.15:
        wavelength = _between(random, 4, 12)
        found |= {
            "rough_wavelength_mm": wavelength,
            "rough_mm": _between(random, 0.2, min(2.0, wavelength / 5)),
            "rough_faces": str(random.choice(["matching", "unlike"])),
            "rough_seed": int(random.integers(1000)),
        }
    if random.random() < 0.15:
        found |= {"bridge_percent": _between(random, 5, 90), "bridge_azimuth_deg": _azimuth(random)}
    if random.random() < 0.2:
        found["fill"] = "canal"
    if random.random() < 0.25:
        found |= {"cuff_mm": _between(random, 1, 8), "cuff_length_mm": _between(random, 5, 40)}
    return found


def nail(random: Random, length: float, centre: float) -> Values:
    """A nail of usual or old make; one in six ends short of the gap, one in four is off the axis."""
    low = _between(random, 15, 60)
    high = length - _between(random, 15, 60)
    if random.random() < 1 / 6:
        low, high = (low, centre - 15) if random.random() < 0.5 else (centre + 15, high)
    found: Values = {
        "distal_end_mm": low,
        "length_mm": round(high - low, 2),
        "diameter_mm": _between(random, 9, 15),
        "reaming_mm": _between(random, 0.5, 1.5 if random.random() < 0.8 else 5),
        "canal": str(random.choice(["void", "filler", "bonded"], p=[0.6, 0.2, 0.2])),
        "bolts": {
            "diameter_mm": _between(random, 4.5, 6),
            "azimuth_deg": float(random.choice([0, 90, 45, random.uniform(-90, 90)])),
            "proximal": int(random.choice([0, 1, 2], p=[0.1, 0.2, 0.7])),
            "distal": int(random.choice([0, 1, 2, 3], p=[0.1, 0.2, 0.5, 0.2])),
            "first_mm": _between(random, 10, 25),
            "spacing_mm": _between(random, 12, 30),
        },
    }
    if random.random() < 0.15:  # an old open one
        found["diameter_mm"] = _between(random, 12, 15)
        found["cannulation_mm"] = round(found["diameter_mm"] - 2 * _between(random, 1.2, 2), 2)
        found |= {"slot_mm": _between(random, 3, 6), "slot_azimuth_deg": _azimuth(random)}
        found["slot_percent"] = _between(random, 60, 100)
    elif random.random() < 0.1:
        found["cannulation_mm"] = 0.0
    else:
        found["cannulation_mm"] = _between(random, 4, 5.5)
    if random.random() < 0.25:
        for end in ("distal_offset_mm", "proximal_offset_mm"):
            found[end] = [_between(random, -4, 4), _between(random, -4, 4)]
    if random.random() < 0.1:
        found |= {"break_mm": centre, "break_opening_mm": _between(random, 0.2, 2)}
    return found


def plate(random: Random, *, broad: bool) -> Values:
    """A broad or a small plate on any side."""
    half = int(random.integers(3, 10))
    screws = {
        "diameter_mm": float(random.choice([4.5, 5.0] if broad else [3.5, 4.0])),
        "holes": sorted((random.permutation(half)[: int(random.integers(2, 5))] + 1).tolist()),
        "cortices": str(random.choice(["auto", "unicortical", "tangential"], p=[0.6, 0.2, 0.2])),
    }
    return {
        "hole_count": 2 * half,
        "pitch_mm": _between(random, 13, 20),
        "width_mm": _between(random, *((13.5, 17.5) if broad else (11, 13.5))),
        "thickness_mm": _between(random, *((4.6, 6) if broad else (3.5, 4.6))),
        "offset_mm": _between(random, 0.3, 6),
        "azimuth_deg": float(random.choice([0, 45, 90, 180])),
        "shift_mm": _between(random, -40, 40),
        "on_bone": str(random.choice(["offset", "bonded"], p=[0.8, 0.2])),
        "screws": screws,
    }


def stem(random: Random) -> Values:
    """A hip stem of any kind."""
    return {
        "tip_diameter_mm": _between(random, 8, 14),
        "top_diameter_mm": _between(random, 14, 18),
        "length_mm": _between(random, 100, 200),
        "fixation": str(random.choice(["cemented", "ingrown"])),
        "ingrown_percent": _between(random, 25, 100),
        "mantle_mm": _between(random, 1, 3),
    }


def _azimuth(random: Random) -> float:
    return round(float(random.uniform(-180, 180)), 1)
