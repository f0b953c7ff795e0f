"""Charts in a page: dots where their values are, names as they are written, addresses of cells."""

from __future__ import annotations

import re
from xml.etree import ElementTree

import pytest

from pipeline.output.graphs import COLOURS, Cloud, Limit, Mark, Series, intervals, scatter, stacks

HOSTILE = '<b onclick="x">$\\frac{1}{0}$'
SVG = "{http://www.w3.org/2000/svg}"


def marks(svg: str) -> list[tuple[float, float]]:
    """Places of all markers but ticks, which stand on the axis at one height."""
    uses = [
        (float(use.get("x")), float(use.get("y")))
        for use in ElementTree.fromstring(svg).iter(f"{SVG}use")
    ]
    axis = max(y for _, y in uses)
    return [(x, y) for x, y in uses if y < axis]


def test_equal_steps_stand_at_equal_distances():
    svg = intervals(["a", "b", "c"], [Series("", [Mark(value) for value in (1.0, 2.0, 3.0)])], "mm")
    (ax, ay), (bx, by), (cx, cy) = marks(svg)
    assert bx - ax == pytest.approx(cx - bx)  # definition of a linear axis
    assert cx > bx > ax
    assert cy > by > ay  # rows from the top


def test_whiskers_only_where_an_error_is_known():
    """A whisker has two caps: three places with an error, one without."""
    known = marks(intervals(["a", "b"], [Series("", [Mark(1.0, 0.2), Mark(2.0)])], "mm"))
    (left, *_), (right, *_) = sorted(known)[0], sorted(known)[2]
    assert len(known) == 4
    middle = sorted(known)[1][0]
    assert middle - left == pytest.approx(right - middle)


def test_a_whisker_in_a_scatter_is_as_long_as_its_error_either_way():
    """Values 7 apart, one with an error of 0.7: a fifth of their distance, by proportion."""
    svg = scatter([Cloud("nail", [1.0, 2.0], [Mark(3.0, 0.7), Mark(10.0)])], "gap", "shear")
    tree = ElementTree.fromstring(svg)
    bars = [g for g in tree.iter(f"{SVG}g") if "LineCollection" in g.get("id", "")]
    (path,) = [path.get("d", "") for bar in bars for path in bar.iter(f"{SVG}path")]
    _, _, low, _, _, high = path.split()  # M x y L x y
    dots = [use for use in tree.iter(f"{SVG}use") if COLOURS[0] in use.get("style", "")]
    first, second, _ = [float(use.get("y", "")) for use in dots]  # the last stands in the key
    assert float(low) - float(high) == pytest.approx((first - second) / 5, rel=1e-3)


def test_a_printed_number_names_its_cell():
    address = ("results", 17, "value")
    svg = intervals(["a"], [Series("", [Mark(1.0, None, "1.00", address)])], "mm")
    group = next(g for g in ElementTree.fromstring(svg).iter(f"{SVG}g") if g.get("data-row"))
    assert (group.get("data-table"), group.get("data-row"), group.get("data-col")) == (
        "results", "17", "value",
    )  # fmt: skip
    assert "".join(group.itertext()).strip() == "1.00"


def test_names_are_neither_markup_nor_formulas():
    svg = intervals([HOSTILE], [Series("a$b$", [Mark(1.0)]), Series("c", [Mark(2.0)])], "mm")
    tree = ElementTree.fromstring(svg)
    texts = ["".join(text.itertext()) for text in tree.iter(f"{SVG}text")]
    assert HOSTILE[:20] in " ".join(texts)
    assert "a$b$" in texts
    assert not [one for one in tree.iter() if one.get("onclick")]


def test_unlike_charts_share_no_id():
    one, two = (
        stacks(["a"], [Series("low", [Mark(low)]), Series("high", [Mark(100 - low)])], "%")
        for low in (40.0, 41.0)
    )
    ids = [set(re.findall(r'\bid="([^"]+)"', svg)) for svg in (one, two)]
    assert ids[0]
    assert not ids[0] & ids[1]
    for svg, own in zip((one, two), ids, strict=True):
        used = re.findall(r'href="#([^"]+)"|url\(#([^)]+)\)', svg)
        assert {a or b for a, b in used} <= own


def test_limits_and_points_are_named_in_a_key():
    limits = [Limit("metal: yield", 800.0, 800.0), Limit("metal: endurance", 200.0, 600.0)]
    svg = intervals(["a"], [Series("nail", [Mark(300.0)])], "MPa", limits)
    assert all(words in svg for words in ("metal: yield", "metal: endurance", "nail"))
    assert "gap" in scatter([Cloud("nail", [1.0, 2.0], [Mark(3.0), Mark(4.0)])], "gap", "shear")
