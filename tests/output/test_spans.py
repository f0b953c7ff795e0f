"""Curves over decades and maps of cells: where their numbers say, ranges behind them, names as text."""

from __future__ import annotations

import re
from xml.etree import ElementTree

import pytest

from pipeline.output.graphs import COLOURS, RANGE, Limit
from pipeline.output.spans import CellMap, Span, cell_maps, over_decades

SVG = "{http://www.w3.org/2000/svg}"
HOSTILE = '<b onclick="x">$\\frac{1}{0}$'


def paths(svg: str, style: str) -> list[list[tuple[float, float]]]:
    """Corners of all paths whose style has some words."""
    return [
        [(float(x), float(y)) for x, y in re.findall(r"[ML] ([\d.]+) ([\d.]+)", path.get("d", ""))]
        for path in ElementTree.fromstring(svg).iter(f"{SVG}path")
        if style in path.get("style", "")
    ]


def texts(svg: str) -> list[str]:
    return ["".join(text.itertext()) for text in ElementTree.fromstring(svg).iter(f"{SVG}text")]


def test_equal_ratios_are_equally_far_apart_and_equal_steps_equally_high():
    svg = over_decades([Span("a", [0.2, 2.0, 200.0], [1.0, 3.0, 7.0], [None] * 3)], "E", "mm")
    curve = paths(svg, f"stroke: {COLOURS[0]}")[0]
    (ax, ay), (bx, by), (cx, cy) = curve
    assert cx - bx == pytest.approx(2 * (bx - ax), rel=1e-4)  # two decades, one: definition
    assert by - cy == pytest.approx(2 * (ay - by), rel=1e-4)  # 4 and 2 upwards


def test_a_flagged_stretch_is_dotted_from_the_sound_value_before_to_the_one_after():
    """By hand: of five values the third is flagged, so from the second to the fourth is dotted."""
    across, up = [1.0, 2.0, 4.0, 8.0, 16.0], [1.0, 2.0, 3.0, 4.0, 5.0]
    whole = paths(over_decades([Span("a", across, up, [None] * 5)], "E", "mm"), COLOURS[0])[0]
    flags = [False, False, True, False, False]
    found = paths(over_decades([Span("a", across, up, [None] * 5, flags)], "E", "mm"), COLOURS[0])
    assert found[0] == [*whole[:2], *whole[3:]]
    assert found[1] == whole[1:4]
    every = paths(over_decades([Span("a", across, up, [None] * 5, [True] * 5)], "E", "mm"), COLOURS[0])
    assert next(filter(None, every)) == whole


def test_decades_are_named_in_figures():
    named = texts(over_decades([Span("a", [0.1, 20000.0], [1.0, 2.0], [None] * 2)], "E", "mm"))
    assert [one for one in ("0.1", "1", "10", "100", "1000", "10000") if one not in named] == []
    assert not [one for one in named if "$" in one or "mathdefault" in one]


def test_a_band_is_as_high_as_its_errors_either_way_and_only_where_known():
    plain = over_decades([Span("a", [1.0, 10.0], [4.0, 6.0], [None, None])], "E", "mm")
    banded = over_decades([Span("a", [1.0, 10.0], [4.0, 6.0], [0.5, 0.5])], "E", "mm")
    assert "PolyCollection" not in plain  # FillBetweenPolyCollection since Matplotlib 3.10
    (low, high) = paths(banded, f"stroke: {COLOURS[0]}")[0]
    (band,) = re.findall(r'PolyCollection.*?<path id="[^"]+" d="([^"]+)"', banded, re.DOTALL)
    heights = [float(y) for _, y in re.findall(r"[ML] (\S+) (\S+)", band)]
    # curve: 2 mm upwards; band: from 3.5 to 6.5, which is 3 mm
    assert max(heights) - min(heights) == pytest.approx(1.5 * (low[1] - high[1]), rel=1e-3)


def test_a_range_lies_between_its_limits():
    svg = over_decades(
        [Span("a", [1.0, 10.0], [100.0, 500.0], [None] * 2)], "E", "MPa", [Limit("m", 200.0, 400.0)]
    )
    (_, low), (_, high) = paths(svg, f"stroke: {COLOURS[0]}")[0]
    box = max(paths(svg, f"fill: {RANGE}"), key=lambda corners: corners[0][1] - corners[2][1])
    heights = sorted({round(y, 2) for _, y in box})
    quarter = (low - high) / 4
    assert heights == pytest.approx([high + quarter, low - quarter], abs=0.1)
    assert "m" in texts(svg)


def test_more_curves_than_hues_have_dashes():
    svg = over_decades(
        [Span(f"n{n}", [1.0, 10.0], [n, n + 1.0], [None] * 2) for n in range(7)], "E", "y"
    )
    assert svg.count("stroke-dasharray") >= 2


def test_a_map_has_a_cell_for_each_place_and_none_where_there_is_nothing():
    held = {(x, y): 10.0 * x + y for x in (0.0, 2.0, 4.0) for y in (1.0, 3.0) if (x, y) != (4.0, 3.0)}
    svg = cell_maps([CellMap("lower", held), CellMap("higher", held)], "x", "y", "%")
    fills = re.findall(r'<path d="[^"]+"[^>]*style="fill: (#\w+); stroke: #ffffff', svg)
    assert len(fills) == 2 * len(held)
    assert len(set(fills)) == len(held)  # each share its own shade
    assert {"lower", "higher", "x", "y", "%"} <= set(texts(svg))


def test_names_of_curves_and_maps_are_text():
    curve = over_decades([Span(HOSTILE, [1.0, 2.0], [3.0, 4.0], [None] * 2)], "E", "mm")
    cells = cell_maps([CellMap(HOSTILE, {(0.0, 0.0): 1.0})], "x", "y", "%")
    for svg in (curve, cells):
        assert HOSTILE[:20] in " ".join(texts(svg))
        assert not [one for one in ElementTree.fromstring(svg).iter() if one.get("onclick")]
