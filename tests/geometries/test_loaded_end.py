"""What the rigid top of the femur stands on."""

from __future__ import annotations

from geometries.assembly import assemble
from geometries.bone import Defect, Femur
from geometries.constructs import Construct, NailConstruct, StemPlateConstruct


def loaded(construct: Construct) -> tuple[str, ...]:
    """Roles of the parts that take the load."""
    patches = {patch.name: patch for patch in assemble(construct, Femur(), Defect()).patches}
    return patches["proximal_end"].roles


def test_a_stem_takes_the_load_of_the_head_that_it_bears_and_else_the_bone_does():
    # Definition: the head of a prosthesis stands on its stem.
    assert loaded(StemPlateConstruct(name="s", kind="stem_plate")) == ("stem",)
    assert set(loaded(NailConstruct(name="n", kind="nail"))) == {"cortex", "cancellous"}
