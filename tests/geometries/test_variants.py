"""Directions of bolts and quality of bone: what turns and what weakens, and nothing else."""

from __future__ import annotations

import numpy as np
import pytest

from geometries.assembly import assemble
from geometries.bone import Defect, Femur
from geometries.constructs import IntactConstruct, NailConstruct, NailPlateConstruct
from geometries.errors import StudyError
from geometries.materials import MATERIALS
from geometries.nail import bolt_levels
from geometries.parameters import Bolts, Nail
from geometries.plating import Plate

# --- Bolts -------------------------------------------------------------------------------------------


@pytest.mark.parametrize("azimuth_deg", [0.0, 45.0, 90.0, -60.0])
def test_bolts_lie_in_their_direction(azimuth_deg: float):
    # Plain trigonometry: lateral is -x, the front is +y; a quarter turn aside there is no bolt.
    nail = Nail(bolts=Bolts(azimuth_deg=azimuth_deg))
    geometry = assemble(NailConstruct(name="n", kind="nail", nail=nail), Femur(), Defect())
    names = [*(part.name for part in geometry.parts), ""]
    angle = np.radians(azimuth_deg)
    out, aside = np.array([-np.cos(angle), np.sin(angle)]), np.array([np.sin(angle), np.cos(angle)])
    z = bolt_levels(nail)[0]
    places = np.array([[*(10 * out), z], [*(-10 * out), z], [*(10 * aside), z]])
    found = [names[k] for k in geometry.painted(places)]
    assert found[:2] == ["bolt_1", "bolt_1"]
    assert not found[2].startswith("bolt")
    assert np.allclose(geometry.pins[0].axis, [*out, 0])
    assert geometry.pins[0].planes["near_shear_plane"] == pytest.approx(5.25)


@pytest.mark.parametrize("shift_mm", [-60.0, -20.0, 0.0, 15.0, 60.0])
def test_clearances_do_not_depend_on_where_lateral_is(shift_mm: float):
    # Symmetry: the bone is round, so plate and bolts turned together meet or miss as before.
    def findings(turn: float) -> str:
        bolts = Bolts(azimuth_deg=turn, first_mm=40.0)
        nail = Nail(length_mm=200.0, distal_end_mm=130.0, bolts=bolts)
        plate = Plate(azimuth_deg=turn + 30.0, shift_mm=shift_mm)
        construct = NailPlateConstruct(name="c", kind="nail_plate", nail=nail, plate=plate)
        try:
            assemble(construct, Femur(), Defect())
        except StudyError as error:
            return str(error)
        return ""

    assert findings(0.0) == findings(60.0) == findings(-45.0)


# --- Bone --------------------------------------------------------------------------------------------


@pytest.mark.parametrize("cortex", ["isotropic", "transverse"])
def test_osteoporotic_bone_is_weaker_in_every_direction(cortex: str):
    # 30 % less, Dagan, Be'ery & Gefen 2004, Med Biol Eng Comput 42:549.
    plain, weak = (Femur(cortex=cortex, preset=one) for one in ("average", "osteoporotic"))
    for key in ("cortical", "cancellous"):
        before, after = (MATERIALS[getattr(femur, key)] for femur in (plain, weak))
        np.testing.assert_allclose(after.elasticity, 0.7 * before.elasticity, rtol=1e-12)
    geometry = assemble(IntactConstruct(name="i", kind="intact"), weak, Defect())
    assert {part.material for part in geometry.parts} == {weak.cortical, weak.cancellous}
