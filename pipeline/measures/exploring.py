"""Tables of what a study is explored with besides its results: their names, columns and dictionary."""

from __future__ import annotations

from pipeline.measures.quantity import Quantity

ROBUSTNESS, ROBUSTNESS_MAPS = "robustness.csv", "robustness_maps.csv"
TAKEOVER, ASSUMPTIONS = "takeover.csv", "assumptions.csv"
ASKED = "asked.csv"
"""Files of a run that need not be there."""
LIVE = "live.json"
"""What the report answers from by itself, where constructs have reduced models."""
TISSUE_MAP, DIRECTION_MAP = "tissue", "direction"
"""What ``robustness_maps.csv`` sorts combinations by."""
SHARE, FORCE = "share_at_gap", "signed_force_at_gap"
WEIGHT, HALF = "weight_share", "half_carried"
"""Quantities that ``takeover.csv`` alone has."""
TISSUE = "gap"
"""Name of the tissue among the parts that cross the gap."""

_PAIR = ("a", "b", "stage", "load", "quantity", "location")
_OF_THREE = ("a_lower_percent", "a_higher_percent", "undecided_percent")
ROBUSTNESS_COLUMNS = (
    *_PAIR, "unit", "samples", "uncovered", *_OF_THREE, "sampling_error_percent", "turned_by",
    "turned_by_share", "flip", "flip_distance", "flip_confirmed", "flags",
)  # fmt: skip
ROBUSTNESS_MAP_COLUMNS = (*_PAIR, "map", "x", "y", *_OF_THREE, "samples")
TAKEOVER_COLUMNS = (
    "construct", "load", "tissue_modulus_mpa", "quantity", "location", "unit", "value", "error",
    "flags",
)  # fmt: skip
ASKED_COLUMNS = ("construct", "against", "status", "reason")
ASSUMPTION_COLUMNS = (
    "assumption", "as_modelled", "other_way", "construct", "stage", "load", "quantity", "location",
    "unit", "value", "other_value", "effect_percent", "by", "flags",
)  # fmt: skip

COLUMNS_OF_EXPLORED = {
    ROBUSTNESS: ROBUSTNESS_COLUMNS, ROBUSTNESS_MAPS: ROBUSTNESS_MAP_COLUMNS,
    TAKEOVER: TAKEOVER_COLUMNS, ASSUMPTIONS: ASSUMPTION_COLUMNS, ASKED: ASKED_COLUMNS,
}  # fmt: skip
"""Columns of each table."""

EXPLORING: dict[str, Quantity] = {
    "a_lower_percent, a_higher_percent, undecided_percent": Quantity(
        "%", f"{ROBUSTNESS}, {ROBUSTNESS_MAPS}",
        "Share of the combinations of inputs in which the quantity of a is lower, higher than that of "
        "b, or the two do not differ by more than their errors. It ranks nothing: lower is not said to "
        "be better. A share of the stated ranges, not the chance of anything in a patient.",
    ),
    "samples": Quantity(
        "1", f"{ROBUSTNESS}, {ROBUSTNESS_MAPS}",
        "Combinations of inputs that were drawn from the stated ranges; of a map those in its cell. "
        f"{ROBUSTNESS_MAPS} has no flags: nobody looks for any at each combination.",
    ),
    "uncovered": Quantity(
        "1", ROBUSTNESS, "Combinations that the reduced model does not cover, so that nothing is said.",
    ),
    "sampling_error_percent": Quantity(
        "%", ROBUSTNESS,
        "Half-width of the largest of the three shares' interval of 95 % for so many combinations; "
        "that of the others is no wider. Of drawing alone, not of the model.",
    ),
    "turned_by, turned_by_share": Quantity(
        "1", ROBUSTNESS,
        "The input that explains most of the difference of a and b, and the share that it explains.",
    ),
    "flip, flip_distance": Quantity(
        "1", ROBUSTNESS,
        "The nearest change of inputs that turns the order, from what the study states, and how far "
        "that is in shares of the inputs' ranges. Empty if no combination turns it.",
    ),
    "flip_confirmed": Quantity(
        "", ROBUSTNESS,
        "What the full model has for a and b after that change, or that it does not confirm the turn.",
    ),
    "map, x, y": Quantity(
        "MPa or deg", ROBUSTNESS_MAPS,
        f"{TISSUE_MAP}: x is the tissue's modulus at the middle of a cell, MPa. {DIRECTION_MAP}: x and "
        "y are how far the load is tilted medially and anteriorly at the middle of a cell, degrees.",
    ),
    "tissue_modulus_mpa": Quantity(
        "MPa", TAKEOVER, "Young's modulus of the tissue in the gap, all else as the study states.",
    ),
    SHARE: Quantity(
        "%", f"{TAKEOVER}; a part that crosses the gap, {TISSUE} the tissue",
        "Part's share of the axial force across the gap. Parts sum to 100, and one may pass that where "
        "another pulls against it.",
    ),
    FORCE: Quantity(
        "N", f"{TAKEOVER}; a part that crosses the gap, {TISSUE} the tissue",
        "The same as a force; of one sign where parts carry the load, of the other where one pulls "
        "against it.",
    ),
    HALF: Quantity(
        "MPa", TAKEOVER,
        "Row whose tissue_modulus_mpa is where the tissue first carries half of the axial force as it "
        "gets stiffer; that cell is empty if it never does.",
    ),
    WEIGHT: Quantity(
        "% of the load that the unit names", TAKEOVER,
        "How much of the load leaves the most loaded implant under the lower end of its published "
        "endurance range. Of an idealised model; it says nothing of when anyone may bear weight.",
    ),
    "assumption, as_modelled, other_way": Quantity(
        "", ASSUMPTIONS, "What is assumed, how the study has it, and how else it may be.",
    ),
    "other_value, effect_percent": Quantity(
        "as value, %", ASSUMPTIONS,
        "The value when this one assumption is the other way and all else stays, and how far that is "
        "from the value as modelled, percent of the latter.",
    ),
    "against": Quantity(
        "", ASKED,
        "The other construct of a pair of which a change was looked for that turns its order; empty "
        "where a construct's own reduced model was asked.",
    ),
    "by": Quantity(
        "", ASSUMPTIONS,
        "What the other value comes from: the reduced model, or a run of the full model of its own.",
    ),
}  # fmt: skip
"""Columns and quantities of these tables, for the data dictionary."""
