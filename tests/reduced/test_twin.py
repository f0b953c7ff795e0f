"""Reduced models: held against closed forms and the full model, and refused where they do not hold."""

from __future__ import annotations

from dataclasses import replace
from math import pi, radians
from pathlib import Path

import numpy as np
import pytest

from geometries.errors import StudyError
from geometries.materials import isotropic
from pipeline.fem.space import Array, strains
from pipeline.measures.cells import implant_stress_of_cells
from pipeline.measures.field import von_mises
from pipeline.reduced.model import BeyondError
from pipeline.reduced.packed import pack, unpack
from pipeline.reduced.ranges import Ranges
from pipeline.reduced.terms import Terms
from pipeline.reduced.twin import Twin
from pipeline.run.coloured import coloured, levels
from pipeline.run.equilibrium import NO_STAGE, Equilibrium
from pipeline.run.reading import Loaded, StageReadings
from pipeline.run.twins import MOVED, TwinStage
from tests.reduced.conftest import BETWEEN, BORE, CASE, INSET, LENGTH, OUTER, prepared

SAME_COLOUR, BYTES = 0.01, 0.02  # of the range of the colours
ADDRESS = "0123456789abcdef"
POINTS = [np.array(point) for point in ([0.1, 0.9, 0.2], [0.93, 0.15, 0.8], [0.5, 0.5, 0.5])]


def told(twin: Twin, weights: Array) -> dict[tuple[str, str, str], tuple[float, float]]:
    """Value and error by load, quantity and location."""
    stage = TwinStage.of(twin, prepared().geometry, weights)
    return {
        (load.name, one.measure.quantity, one.measure.location): (one.measure.value, one.half)
        for load in CASE.loads
        for one in stage.under(CASE, load, prepared().loads[load.name])[0]
    }


def full(elasticity: Array) -> dict[tuple[str, str, str], float]:
    """The same from the full model."""
    made = prepared()
    _, found = made.settled(made.assembled(elasticity))
    settled = Equilibrium(**vars(found), stage=NO_STAGE, elasticity=elasticity, errors={})
    reading = StageReadings.of(made.mesh, made.geometry, settled)
    measures: dict[tuple[str, str, str], float] = {}
    for load in CASE.loads:
        loaded = Loaded.of(found, load.name)
        for one in reading.under(CASE, load, loaded)[0]:
            measures[load.name, one.quantity, one.location] = one.value
    return measures


@pytest.mark.parametrize("point", POINTS)
def test_tubes_of_any_moduli_pull_and_twist_as_springs_side_by_side(twin: Twin, point: Array):
    # Closed form: axial stiffness is the sum of E A over length, torsional that of G J; unlike
    # Poisson's ratios press the tubes against each other and add some tenths of a percent.
    weights = twin.model.ranges.at(point)
    elasticity = twin.readout.terms.elasticity(weights)
    length = LENGTH - 2 * INSET
    parts = {part.material: number for number, part in enumerate(prepared().mesh.parts)}
    axial = torsional = 0.0
    for material, (outer, inner) in (("cortical", (OUTER, BETWEEN)), ("titanium", (BETWEEN, BORE))):
        own = elasticity[parts[material]]
        modulus = 1 / np.linalg.inv(own)[2, 2]
        axial += modulus * pi / 4 * (outer**2 - inner**2) / length
        torsional += own[5, 5] * pi / 32 * (outer**4 - inner**4) / length
    found = told(twin, weights)
    names = {load.kind: load.name for load in CASE.loads}
    pull = found[names["end_force"], "axial_stiffness", "sections"][0]
    twist = found[names["torsion"], "torsional_stiffness", "sections"][0]
    assert pull == pytest.approx(axial, rel=0.01)
    assert twist == pytest.approx(torsional * radians(1) / 1000, rel=0.01)


@pytest.mark.parametrize("point", POINTS)
def test_values_are_those_of_the_full_model_within_what_is_told(twin: Twin, point: Array):
    weights = twin.model.ranges.at(point)
    found, wanted = told(twin, weights), full(twin.readout.terms.elasticity(weights))
    checks = {"fragment_residual", "statics_residual"}
    shared = {key for key in wanted if key in found and key[1] not in checks}
    assert len(shared) > 30
    for key in shared:
        value, half = found[key]
        assert abs(value - wanted[key]) <= half, key
    moved = [key for key in shared if key[1] in MOVED and "_stiffness" in key[1]]
    for key in moved:
        assert found[key][0] == pytest.approx(wanted[key], rel=1e-3)


def test_states_are_read_through_themselves_as_through_all_coordinates(twin: Twin):
    weights, geometry = twin.model.ranges.at(POINTS[0]), prepared().geometry
    answered = twin.model.at(weights)
    units = [prepared().loads[load.name] for load in CASE.loads]
    states = np.stack([answered.under(one).coordinates for one in units], axis=1)
    wide = twin.readout.readings(geometry, weights)
    narrow = twin.readout.through(states).readings(geometry, weights)
    for load, state, own in zip(units, states.T, np.eye(len(units)), strict=True):
        wanted, _ = wide.under(load, state, CASE.strain_bands)
        found, _ = narrow.under(load, own, CASE.strain_bands)
        for one, other in zip(found, wanted, strict=True):
            assert (one.quantity, one.location) == (other.quantity, other.location)
            assert one.value == pytest.approx(other.value, rel=1e-9, abs=1e-9), one


def test_materials_outside_its_ranges_are_refused_with_the_range(twin: Twin):
    weights = twin.model.ranges.at(np.full(3, 0.5))
    names = twin.readout.terms.names
    weights[names.index("cortical")] = 2.0
    with pytest.raises(BeyondError, match=r"factor of cortical is 2; covered are 0\.4 to 1\.2"):
        twin.model.at(weights)


def test_an_elasticity_that_no_numbers_give_is_refused(twin: Twin):
    terms = twin.readout.terms
    elasticity = terms.elasticity(twin.model.ranges.at(np.full(3, 0.5)))
    skew = elasticity.copy()
    skew[:, 3, 3] *= 1.5
    with pytest.raises(StudyError, match="solve this one in full"):
        terms.weights(skew)


def test_numbers_of_the_terms_give_back_the_materials():
    terms = Terms.of(prepared().mesh)
    ranges = Ranges.of(terms)
    for point in POINTS:
        weights = ranges.at(point)
        assert terms.weights(terms.elasticity(weights)) == pytest.approx(weights, rel=1e-12)
        assert ranges.outside(weights) == ""
    group = next(group for group in terms.groups if group.kind == "isotropic")
    # Hooke's law: bulk modulus E / (3 (1 - 2 nu)), shear modulus E / (2 (1 + nu)).
    assert group.numbers(isotropic(90.0, 0.2)) == pytest.approx([90 / 1.8, 90 / 2.4])


def test_a_stored_model_answers_as_before(twin: Twin, tmp_path: Path):
    path = tmp_path / "reduced.npz"
    pack(path, ADDRESS, twin)
    again = unpack(path, ADDRESS)
    weights = twin.model.ranges.at(POINTS[0])
    before, after = told(twin, weights), told(again, weights)
    assert after.keys() == before.keys()
    for key, (value, _) in before.items():
        assert after[key][0] == pytest.approx(value, rel=1e-5, abs=1e-9), key


def test_a_foreign_or_broken_model_is_refused(twin: Twin, tmp_path: Path):
    path = tmp_path / "reduced.npz"
    pack(path, ADDRESS, twin)
    with pytest.raises(
        StudyError, match=f"is the reduced model of case '{ADDRESS}', allowed that of f"
    ):
        unpack(path, "f" * 16)
    content = path.read_bytes()
    for broken in (content[: len(content) // 2], b"nothing", content.replace(b"form", b"from")):
        path.write_bytes(broken)
        with pytest.raises(StudyError, match="run the study again"):
            unpack(path, ADDRESS)


def test_what_is_not_known_is_not_stored(tmp_path: Path):
    with pytest.raises(TypeError, match="object can not be stored"):
        pack(tmp_path / "reduced.npz", ADDRESS, (object(),))


@pytest.mark.parametrize("point", POINTS)
def test_colours_are_those_of_the_full_model(twin: Twin, point: Array):
    # Against the strain in the middle of each cell, and what is stored: the mean of four points in it.
    made, weights = prepared(), twin.model.ranges.at(point)
    elasticity = twin.readout.terms.elasticity(weights)
    _, found = made.settled(made.assembled(elasticity))
    settled = Equilibrium(**vars(found), stage=NO_STAGE, elasticity=elasticity, errors={})
    answered, seen = twin.model.at(weights), twin.readout.cells["stress"]
    states = [answered.under(made.loads[load]).coordinates for load in found.states]
    rounded = coloured(twin.readout, weights, np.stack(states, axis=1))["stress"]
    cells = made.mesh.cells[seen.cells]
    strain, _ = strains(made.mesh.nodes, cells, settled.displacement, np.full((1, 3), 0.25))
    stress = von_mises(np.einsum("cij,cjl->lci", elasticity[seen.parts], strain[:, 0]))
    stored = implant_stress_of_cells(made.mesh, settled.displacement, elasticity)[seen.cells].T
    for coordinates, wanted, mean in zip(states, stress, stored, strict=True):
        top = np.percentile(mean, 99)
        told = dict(levels(twin.readout, weights, coordinates))
        assert told.keys() == {"stress"}  # a tube without a gap
        assert replace(rounded, top=top).away(wanted, told["stress"]) < SAME_COLOUR * top
        assert rounded.at(coordinates) == pytest.approx(told["stress"], abs=BYTES * wanted.max())
        assert np.abs(told["stress"] - mean).mean() < SAME_COLOUR * top
    first, last = np.array([1.0, 2, 3]), np.array([1.5, 2.5, 9])  # apart by 0.5, 0.2 below 2.2, and 0
    assert replace(rounded, top=2.2).away(first, last) == pytest.approx(0.494)  # the 99th percentile
