"""Bars from what a finer space would answer besides: held against springs and rigid bodies by hand."""

from __future__ import annotations

from dataclasses import replace
from math import degrees, inf, pi

import numpy as np
import pytest

from geometries.faces import Face
from geometries.readout import GapFrame
from pipeline.fem.limits import BAR
from pipeline.measures.columns import CLASSED, ESTIMATED, EXACT, UNKNOWN
from pipeline.measures.dictionary import QUANTITIES, Measure
from pipeline.measures.error_classes import (
    CLASSES,
    IMPLANTS,
    OF_IMPLANTS,
    SMALL,
    ErrorBar,
    class_bar,
    sizes_of,
)  # fmt: skip
from pipeline.measures.load_point import Push
from pipeline.measures.mesh_error import LEAST, LEVER, LoadError, Moved, Reader
from pipeline.measures.play import TANGENT

FRAME = GapFrame(Face(98.0), Face(102.0), radius=14.0, near_azimuth_deg=0.0)
TOP = np.array([0.0, 0.0, 400.0])
HEAD = np.array([40.0, 0.0, 380.0])


def load(**parts: float) -> np.ndarray:
    """Shares of the unit loads: forces x, y, z, N, and moments mx, my, mz, N·mm."""
    return np.array([parts.get(name, 0.0) for name in ("x", "y", "z", "mx", "my", "mz")])


def reader(acting: np.ndarray, push: Push | None = None) -> Reader:
    points = {"proximal_end": TOP, "head": HEAD}
    return Reader(FRAME, TOP, points, push, acting, length=200.0, shear_modulus=0.07, volume=0.0)


def error(**parts: object) -> LoadError:
    nothing = {"top": np.zeros(6), "gap": None, "free": None, "work": 0.0, "more": 0.0, "pushed": 0.0}
    return LoadError(**(nothing | {"energy": 0.1} | parts))  # type: ignore[arg-type]


def bar(found: LoadError, acting: np.ndarray, *measures: Measure, push: Push | None = None) -> ErrorBar:
    """Bar of the first of some measures."""
    return next(iter(found.bars(measures, reader(acting, push))))


@pytest.mark.parametrize(
    ("acting", "quantity", "value", "work", "besides"),
    [
        # A spring of 500 N/mm gives 2 mm under 1000 N, and 1 % more would be another 0.02 mm.
        (load(z=-1000.0), "axial_stiffness", 500.0, 2000.0, 20.0),
        # 10 N·m turn 4 degrees; 1 % more is 0.04 degrees, and the moment works on it in radians.
        (load(mz=1e4), "torsional_stiffness", 2.5, 1e4 * pi / 45, 1e4 * pi / 4500),
        # E I of 400 N·m² over 200 mm: 10 N·m turn 0.005 radians.
        (load(mx=6e3, my=8e3), "bending_stiffness", 400.0, 50.0, 0.5),
    ],
)
def test_a_stiffness_errs_by_the_work_besides_over_the_work(
    acting: np.ndarray, quantity: str, value: float, work: float, besides: float
):
    # Definition: F / (x + dx) is F / x less its share dx / x, and dx / x is F dx / F x.
    assert besides == pytest.approx(0.01 * work)
    one = bar(error(work=besides), acting, Measure(quantity, "sections", value))
    assert one == ErrorBar(pytest.approx(BAR * 0.01 * value), ESTIMATED)
    more = bar(error(more=besides), acting, Measure(quantity + TANGENT, "sections", value))
    assert more.half == pytest.approx(BAR * 0.01 * value)


def test_a_mesh_of_another_volume_errs_by_that_besides():
    # Any handbook: E I and G J of a round section grow with the square of its area.
    stiff = Measure("torsional_stiffness", "sections", 2.5)
    acting = load(mz=1e4)
    plump = replace(reader(acting), volume=4e-4)
    (one,) = error(work=0.0).bars([stiff], plump)
    assert one.half == pytest.approx(2 * 4e-4 * 2.5)


def test_the_head_goes_with_the_loaded_end_and_its_stiffness_with_it():
    # A rigid body turned by 0.001 about y: its head, 40 mm medial of the top and 20 mm below, goes
    # -0.02 mm along x and -0.04 mm along z. A force straight down works on the 0.04 mm.
    found = error(top=np.array([0.0, 0.0, 0.0, 0.0, 1e-3, 0.0]))
    down = Push(HEAD, np.array([0.0, 0.0, -500.0]), np.zeros(3))
    acting = load(z=-500.0, my=2e4)
    moved = Measure("proximal_movement", "head", 1.0)
    assert bar(found, acting, moved).half == pytest.approx(BAR * np.hypot(0.02, 0.04))
    point = Measure("load_point_movement", "load_point", 2.0)
    assert bar(found, acting, point, push=down).half == pytest.approx(BAR * 0.04)
    stiff = Measure("load_point_stiffness", "load_point", 250.0)  # 500 N by 2 mm
    assert bar(found, acting, stiff, push=down).half == pytest.approx(BAR * 250.0 * 0.04 / 2.0)


def test_bone_ends_err_by_their_motion_at_each_place():
    # Medial is +x, the plate's side lateral: a turn of 0.001 about y lifts the cortex there, 14 mm off
    # the axis, by 0.014 mm and drops the medial one; at the centre only the 0.03 mm across is left.
    moved = Moved(np.array([0.03, 0.0, 0.0, 0.0, 1e-3, 0.0]), slack=0.0)
    found = error(gap=moved)
    largest = np.hypot(0.03, 0.014)

    def half(quantity: str, place: str) -> float:
        return bar(found, load(my=1e4), Measure(quantity, place, 1.0)).half

    assert half("gap_axial_movement", "near") == pytest.approx(BAR * 0.014)
    assert half("gap_shear_movement", "far") == pytest.approx(BAR * 0.03)
    assert half("gap_movement", "far") == pytest.approx(BAR * largest)
    assert half("interfragmentary_strain", "far") == pytest.approx(100 * BAR * 0.014 / 4.0)
    assert half("gap_rotation", "anterior_axis") == pytest.approx(BAR * degrees(1e-3))
    assert half("rim_movement", "closing") == pytest.approx(BAR * 0.014, rel=1e-3)
    assert half("rim_strain", "sliding") == pytest.approx(100 * BAR * 0.03 / 4.0)
    # What is nil here is not known to be: a share of the largest at the rim is left.
    assert half("gap_axial_movement", "centre") == pytest.approx(BAR * LEAST * largest, rel=1e-3)
    assert half("gap_rotation", "shaft") == pytest.approx(
        degrees(BAR * LEAST * largest / 14.0), rel=1e-3
    )


def test_surfaces_that_bear_leave_the_bone_ends_what_they_may_overlap():
    moved = Moved(np.array([0.0, 0.0, 0.02, 0.0, 0.0, 0.0]), slack=0.008)
    found = error(gap=moved, free=replace(moved, slack=0.012))
    gap = bar(found, load(z=-1.0), Measure("gap_axial_movement", "centre", 1.0))
    free = bar(found, load(z=-1.0), Measure("free_movement", "centre", 1.0))
    assert gap.half == pytest.approx(BAR * 0.02 + LEVER * 0.008)
    assert free.half == pytest.approx(BAR * 0.02 + LEVER * 0.012)


def test_what_has_no_estimate_has_its_class_and_what_has_none_says_so():
    # By definition: a share of the load's error in energy, of the value or of a part of the largest
    # like it.
    screws = [
        Measure("pin_shear_force", "screw_1/near_cortex", 900.0),
        Measure("pin_shear_force", "screw_2/near_cortex", 3.0),
    ]
    factor = OF_IMPLANTS["pin_shear_force"][IMPLANTS.index("screw")]
    first, second = error(energy=0.08).bars(screws, reader(load(z=-1000.0)))
    assert first == ErrorBar(pytest.approx(factor * 0.08 * 900.0), CLASSED)
    assert second.half == pytest.approx(factor * 0.08 * SMALL * 900.0)
    sizes = sizes_of(screws, load(z=-1000.0), 400.0, 0.0)
    level = Measure("section_shear_force", "gap", 12.0)
    assert class_bar(level, 0.1, sizes) == ErrorBar(0.0, EXACT)
    side = Measure("rim_side", "rim", 90.0)
    assert class_bar(side, 0.1, sizes) == ErrorBar(inf, UNKNOWN)
    for unknown in ("peg_1/near_cortex", "screw_1/plate_gap"):
        assert class_bar(replace(screws[0], location=unknown), 0.1, sizes).known == UNKNOWN


def test_a_stem_counts_as_a_nail_and_a_share_is_of_a_whole():
    nail, stem = (Measure("von_mises_5mm3", part, 100.0) for part in ("nail", "stem"))
    sizes = sizes_of([nail, stem], load(z=-1.0), 400.0, 0.0)
    assert class_bar(stem, 0.1, sizes) == class_bar(nail, 0.1, sizes)
    band = Measure("strain_band", "classical/under_2", 0.5)
    (only,) = error(energy=0.1).bars([band], reader(load(z=-1.0)))
    assert only.half == pytest.approx(CLASSES["strain_band"] * 0.1 * SMALL * 100.0)


def test_pressure_that_symmetry_makes_nil_is_held_against_the_shear():
    # Torsion strains without pressing: 20 % of octahedral shear times G is what the pressure is beside.
    strain = Measure("tissue_strain_octahedral", "p95", 20.0)
    pressure = Measure("tissue_pressure", "p95", 1e-7)
    _, one = error(energy=0.1).bars([strain, pressure], reader(load(mz=1e4)))
    assert one.half == pytest.approx(CLASSES["tissue_pressure"] * 0.1 * SMALL * 0.07 * 0.2)


ESTIMATES = ("movement", "stiffness", "rotation", "rim_strain", "interfragmentary_strain")
WITHOUT = frozenset(
    ("statics_residual", "fragment_residual", "contact_height", "contact_side", "overlap_left",
     "screw_bone_volume_over", "rim_side")
)  # fmt: skip


@pytest.mark.parametrize("quantity", QUANTITIES)
def test_every_quantity_has_a_bar_or_is_known_to_have_none(quantity: str):
    # By definition: places and residuals have no size; none falls through when a quantity is added.
    one = Measure(quantity, "screw_1", 1.0)
    known = class_bar(one, 0.1, sizes_of([one], load(z=-1.0), 400.0, 0.0)).known
    is_estimated = any(word in quantity for word in ESTIMATES)
    assert (known == UNKNOWN) == (is_estimated or quantity in WITHOUT)
