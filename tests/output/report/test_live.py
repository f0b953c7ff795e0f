"""The page that answers by itself, in a browser: against the pipeline's own values, for any inputs."""

from __future__ import annotations

import json
from base64 import b64decode, b64encode
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from importlib.resources import files
from io import BytesIO
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from PIL import Image
from playwright.sync_api import Browser, Page, expect

from pipeline.fem.meshing.mesher import build_mesh
from pipeline.measures.exploring import LIVE
from pipeline.output.report.page import report_page
from pipeline.reduced.model import BeyondError
from pipeline.run.equilibrium import Prepared
from pipeline.run.explored import Inquiry
from pipeline.run.live import LiveModel, live_content
from pipeline.run.reducing import reduced_twin
from pipeline.run.takeover import Errors
from pipeline.study.config import StudyConfig, load_study
from tests.fem.contact.random_stops import random_case
from tests.made import address_of
from tests.models import SHORT_PLATE, case_of
from tests.output.report.made_up import NAMES, rows_of, write_fields, write_set_beside

pytestmark = pytest.mark.slow
HIP = [{"kind": "hip_force", "name": "hip", "force_n": 3000.0}]
PLATE = {
    "kind": "plate",
    "name": "plate",
    "plate": SHORT_PLATE,
    "defect": {"gap_mm": 1.0, "bone_ends": "contact"},
}
AS_PYTHON = 1e-6  # of the largest like it
SINGLE = 1e-5  # of the highest, in single precision
LEVELS = """([name, at]) =>
  Array.from(new liveColours.Field(one.told.fields[name]).levels(one.found(at).state))"""
SETTINGS, PROBLEMS = 20, 30


@pytest.fixture(scope="module")
def model() -> LiveModel:
    case = case_of(PLATE, "coarse", ("atrophic",), HIP)
    geometry = case.geometry()
    made = Prepared.of(build_mesh(geometry, "coarse"), geometry, case)
    asked = Inquiry(case, reduced_twin(made, made.loads), case.stages[0], case.loads[0])
    return LiveModel(asked, Errors({}, {}))


@pytest.fixture
def page(browser: Browser) -> Iterator[Page]:
    """A page with the models alone."""
    opened = browser.new_page()
    opened.set_content("<html></html>")
    templates = files("pipeline.output") / "templates"
    names = ("live_model.js", "live_colours.js")
    script = "\n".join((templates / name).read_text(encoding="utf-8") for name in names)
    opened.add_script_tag(content=f"{script}\nObject.assign(window, {{ liveModel, liveColours }});")
    yield opened
    opened.close()


def inputs(chance: np.random.Generator) -> tuple[dict[str, float], tuple[float, float]]:
    """Some settings of the page."""
    bone = {name: chance.uniform(0.4, 1.2) for name in ("cortical_factor", "cancellous_factor")}
    return {
        **bone, "metal_factor": chance.uniform(0.85, 1.15), "play_factor": chance.uniform(0, 2),
        "weight_factor": chance.uniform(0.05, 1.5),
        "tissue_modulus_mpa": 10 ** chance.uniform(-1, 4),
    }, (chance.uniform(0, 15), chance.uniform(0, 360))  # fmt: skip


def test_the_page_answers_as_the_reduced_model_does(model: LiveModel, page: Page):
    # Against the same model in NumPy, SciPy and the pipeline's own contact.
    page.evaluate("told => { window.one = new liveModel.Construct(told); }", model.told([]))
    colours = model.colours
    assert colours.keys() == {"stress", "strain"}
    chance, has_touched = np.random.default_rng(7), 0
    for _ in range(SETTINGS):
        values, tilt = inputs(chance)
        try:
            expected = model.values(values, tilt)
        except BeyondError:
            with pytest.raises(Exception, match=r"has no answer|balance|holds"):
                page.evaluate("at => one.values(at)", asked(values, tilt))
            continue
        found = page.evaluate("at => one.values(at)", asked(values, tilt))
        answered = model.asked.twin.model.at(model.asked.weights(values), model.asked.clearance(values))
        borne = answered.quick.under(model.asked.shares(values, tilt))
        has_touched += bool(borne.state.forces)
        shaft = [one.translation @ borne.coordinates for one in model.asked.twin.readout.shaft]
        bent = page.evaluate("at => one.found(at).shaft", asked(values, tilt))
        assert bent == pytest.approx(np.array(shaft), abs=AS_PYTHON * np.abs(shaft).max())
        for name, one in colours.items():
            levels, wanted = (
                page.evaluate(LEVELS, [name, asked(values, tilt)]),
                one.at(borne.coordinates),
            )
            assert levels == pytest.approx(wanted, abs=SINGLE * wanted.max())
        for (quantity, location), value in expected.items():
            size = max(abs(one) for (name, _), one in expected.items() if name == quantity)
            told = found.get(f"{quantity}/{location}")
            assert told is None or told == pytest.approx(value, abs=AS_PYTHON * size)
        assert found.keys() >= {"gap_movement/far", "rim_strain/closing", "share_at_gap/gap"}
    assert has_touched


def asked(values: dict[str, float], tilt: tuple[float, float]) -> dict[str, float]:
    return {**values, "tilt_deg": tilt[0], "azimuth_deg": tilt[1]}


SOLVED = """([C, B, n, m, cones, free, loads]) => {
  const flat = rows => Float64Array.from(rows.flat());
  const drive = [free, loads].map(one => Float64Array.from(one));
  const program = new liveModel.Program(flat(C), flat(B), n, m, cones, ...drive);
  const near = program.run();
  return [near.isFound, Array.from((liveModel.settled(program, near) ?? near).x)];
}"""


@pytest.mark.parametrize("modes", [0, 1, 2])
def test_the_page_finds_what_bears_as_the_pipeline_does(page: Page, modes: int):
    # Random stops of all kinds, on a body that floats in some motions; numbers without units.
    for seed in range(PROBLEMS):
        plain, free = random_case(seed)
        chance = np.random.default_rng(900 + seed)
        stops = replace(plain, rigid=chance.standard_normal((len(free), modes)))
        loads = -stops.rigid.T @ np.abs(chance.normal(0, 300, len(free)))
        expected, _ = stops.bear(free, loads)
        size = max(np.abs(expected).max(initial=0.0), 1.0)
        pushed, cones, scaled = free * stops.scale, [], stops.clearance * stops.scale[stops.starts[:-1]]
        for k, first in enumerate(stops.starts[:-1].tolist()):
            place = list(range(first, int(stops.starts[k + 1])))
            room = float(scaled[k]) / 300
            pushed[first] += 300 * room if stops.is_one_sided[k] else 0.0
            cones.append({"place": place if stops.is_one_sided[k] else [-1, *place], "room": room})
        problem = [stops.C.tolist(), stops.B.tolist(), len(free), modes, cones,
                   (pushed / 300).tolist(), (loads / stops.widest / 300).tolist()]  # fmt: skip
        is_found, forces = page.evaluate(SOLVED, problem)
        assert is_found
        np.testing.assert_allclose(300 * np.array(forces) * stops.scale, expected, atol=1e-5 * size)


@pytest.fixture
def run(demo: dict[str, Any], tmp_path: Path) -> tuple[StudyConfig, Path]:
    """A run that a page can be made of."""
    return write_set_beside(demo, tmp_path / "out", rows_of())


@contextmanager
def explored(
    browser: Browser, run: tuple[StudyConfig, Path], model: LiveModel, told: dict[str, Any]
) -> Iterator[Page]:
    """The page of a run with one model, at what it answers; there may be no error in it."""
    (study, out), stages, said = run, model.asked.case.stages, []
    content = live_content(stages[0], "hip", stages, [told])
    (out / LIVE).write_text(json.dumps(content), encoding="utf-8")
    place = report_page(study, out, "gapstrain 0.0.9.", "For research only.")
    opened = browser.new_page()
    opened.on("pageerror", lambda error: said.append(str(error)))
    opened.goto(place.as_uri())
    opened.locator("#explore").scroll_into_view_if_needed()
    opened.wait_for_selector("#explore[data-drawn]")
    yield opened
    opened.close()
    assert said == []


def test_sliders_change_numbers_and_settings_become_lines_of_a_study(
    model: LiveModel, browser: Browser, run: tuple[StudyConfig, Path], tmp_path: Path
):
    with explored(browser, run, model, model.told(model.asked.case.stages)) as opened:
        follows_sliders(opened, model, tmp_path)


def follows_sliders(opened: Page, model: LiveModel, tmp_path: Path) -> None:
    """Numbers, drawings and lines of a study follow the controls."""
    row = opened.locator("#live-table tbody tr").first
    shown = opened.locator("#live-quantity").input_value().split("/")
    key = (shown[0], shown[1])

    def value() -> float:
        return float(row.get_attribute("data-value") or "nan")

    assert value() == pytest.approx(model.values({}, None)[key], rel=1e-5)
    before = row.get_attribute("data-value") or ""
    opened.locator("#live-tissue_modulus_mpa").evaluate(
        "one => { one.value = 1.5; one.dispatchEvent(new Event('input')); }"
    )
    expect(row).not_to_have_attribute("data-value", before)
    expected = model.values({"tissue_modulus_mpa": 10**1.5}, None)[key]
    assert value() == pytest.approx(expected, rel=1e-5)
    ends = opened.locator("#live-ends .live-bone")
    before = ends.nth(1).get_attribute("points") or ""
    opened.locator("#live-factor").select_option("20")
    expect(ends.nth(1)).not_to_have_attribute("points", before)
    assert ends.count() == 4  # two ends, two views
    now = model.values({"tissue_modulus_mpa": 10**1.5}, None)
    most = max(now["rim_strain", "closing"], now["rim_strain", "opening"])
    painted = float((opened.locator("#live-strained").text_content() or "").removesuffix(" %"))
    assert abs(now["interfragmentary_strain", "centre"]) < painted < 1.01 * most
    opened.locator("#live-copy").click()
    lines = opened.locator("#live-lines").input_value()
    assert "modulus_mpa = 31.6228" in lines
    text = Path("configs/which-inputs.toml").read_text(encoding="utf-8")
    asked_by = tmp_path / "asked.toml"
    asked_by.write_text(text.replace("[[stages]]", f"{lines}\n[[stages]]", 1), encoding="utf-8")
    assert {one.name for one in load_study(asked_by).loads} == {"hip", "explored"}
    opened.locator("#live-reset").click()
    expect(opened.locator("#live-lines")).to_be_hidden()


def following(told: dict[str, Any], out: Path) -> dict[str, Any]:
    """A model under the name of a construct with fields; its colours are as its load, from 0 to 100."""
    parts = write_fields(out / "cases" / address_of(NAMES[0])).cell_data["part"]
    cells = np.flatnonzero(parts == 2)  # of the nail
    values = np.zeros((len(cells), 5, 1), np.int8)
    values[:, 0, 0] = np.linspace(0, 100, len(cells))
    rows = np.zeros(len(b64decode(told["shaft_moved"])) // len(told["shaft"]) // 24)
    rows[-told["units"] :] = np.array(told["load"]) / np.dot(told["load"], told["load"])
    field = {
        "cells": b64encode(cells.astype("<i4")).decode(), "values": b64encode(values).decode(),
        "rows": b64encode(rows.astype("<f8")).decode(),
    }  # fmt: skip
    return told | {"name": NAMES[0], "fields": {"stress": field}}


def test_colours_of_a_construct_follow_the_controls(
    model: LiveModel, browser: Browser, run: tuple[StudyConfig, Path]
):
    told = following(model.told(model.asked.case.stages), run[1])
    with explored(browser, run, model, told) as opened:
        takes_colours(opened)


def takes_colours(opened: Page) -> None:
    """Implants take colours as the load grows, and the view turns by itself."""
    solid, view = opened.locator("#live-solid"), opened.locator("#live-turning")
    expect(solid).to_be_visible()
    assert "99" in solid.locator(".legend .ticks").inner_text().split()  # by hand: of 0 to 100
    shares = []
    for weight in (0.05, 1.0, 1.5):
        opened.locator("#live-weight_factor").evaluate(
            "(one, value) => { one.value = value; one.dispatchEvent(new Event('input')); }", weight
        )
        opened.wait_for_timeout(300)
        picture = Image.open(BytesIO(view.locator("canvas").screenshot())).convert("RGB")
        red, green, blue = np.moveaxis(np.asarray(picture).astype(int), 2, 0)
        shares.append(float(((red > 1.5 * green) & (red > 1.5 * blue)).mean()))
    assert shares[0] == 0  # nothing lies above the range
    assert shares[1] < 0.1 * shares[2]
    assert shares[2] > 0.005  # a third of the nail does under half as much again
    solid.get_by_text("Tissue strain").click()
    assert "No colours: no tissue." in solid.locator(".legend").inner_text()
    view.focus()
    opened.keyboard.press("ArrowRight")
    assert "no tissue strain" in (view.get_attribute("aria-label") or "")
    assert view.get_attribute("data-azimuth") == "35"
    assert opened.locator("#turning").get_attribute("data-azimuth") != "35"  # each turns by itself
