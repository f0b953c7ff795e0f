"""Forces on the femur while walking and climbing stairs, in percent of body weight.

Heller et al. 2005, J Biomech 38:1155 (DOI 10.1016/j.jbiomech.2004.05.022): peak hip contact and the
muscles bundled to match it, all as they act on the femur. The numbers are from memory; the sums of
all rows and the size of the hip contact (Bergmann et al. 2001, J Biomech 34:859) check them in
`tests/test_statics.py`.
"""

from __future__ import annotations

from dataclasses import dataclass

Percent = tuple[float, float, float]


@dataclass(frozen=True)
class Pull:
    """One force of an activity.

    Parameters
    ----------
    name : str
        Which force it is.
    point : str
        Named point of the femur where it acts.
    percent : tuple of float
        Medial, anterior and proximal part, percent of body weight.
    """

    name: str
    point: str
    percent: Percent


def _strap(name: str, proximal: Percent, distal: Percent) -> tuple[Pull, ...]:
    """A strap over the trochanter: the pulls of both its ends."""
    return (
        Pull(f"{name}_proximal", "trochanter", proximal),
        Pull(f"{name}_distal", "trochanter", distal),
    )


HIP_CONTACT = {
    "walking": Pull("hip_contact", "head", (-54.0, -32.8, -229.2)),
    "stairs": Pull("hip_contact", "head", (-59.3, -60.6, -236.3)),
}
MUSCLES: dict[str, dict[str, tuple[Pull, ...]]] = {
    "walking": {
        "abductor": (Pull("abductor", "trochanter", (58.0, 4.3, 86.5)),),
        "tensor_fasciae_latae": _strap("tensor_fasciae_latae", (7.2, 11.6, 13.2), (-0.5, -0.7, -19.0)),
        "vastus_lateralis": (Pull("vastus_lateralis", "vastus_lateralis", (-0.9, 18.5, -92.9)),),
    },
    "stairs": {
        "abductor": (Pull("abductor", "trochanter", (70.1, 28.8, 84.9)),),
        "iliotibial_tract": _strap("iliotibial_tract", (10.5, 3.0, 12.8), (-0.5, -0.8, -16.8)),
        "tensor_fasciae_latae": _strap("tensor_fasciae_latae", (3.1, 4.9, 2.9), (-0.2, -0.3, -6.5)),
        "vastus_lateralis": (Pull("vastus_lateralis", "vastus_lateralis", (-2.2, 22.4, -135.1)),),
        "vastus_medialis": (Pull("vastus_medialis", "vastus_medialis", (-8.8, 39.6, -267.1)),),
    },
}
