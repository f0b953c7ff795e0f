"""Forces on the femur while walking and climbing stairs, in percent of body weight."""

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


@dataclass(frozen=True)
class Peak:
    """The forces at the peak of an activity, all as they act on the femur.

    Parameters
    ----------
    contact : Pull
        Of the hip.
    muscles : dict of str to tuple of Pull
        Bundled to match it, by name.
    source : str
        Where the numbers come from.
    """

    contact: Pull
    muscles: dict[str, tuple[Pull, ...]]
    source: str


def _strap(name: str, proximal: Percent, distal: Percent) -> tuple[Pull, ...]:
    """A strap over the trochanter: the pulls of both its ends."""
    return (
        Pull(f"{name}_proximal", "trochanter", proximal),
        Pull(f"{name}_distal", "trochanter", distal),
    )


HELLER = (
    "Heller et al. 2005, J Biomech 38:1155 (DOI 10.1016/j.jbiomech.2004.05.022), numbers {known}; "
    "size of the hip contact as in Bergmann et al. 2001, J Biomech 34:859 (read in its abstract)"
)
PEAKS = {
    "walking": Peak(
        Pull("hip_contact", "head", (-54.0, -32.8, -229.2)),
        {
            "abductor": (Pull("abductor", "trochanter", (58.0, 4.3, 86.5)),),
            "tensor_fasciae_latae": _strap(
                "tensor_fasciae_latae", (7.2, 11.6, 13.2), (-0.5, -0.7, -19.0)
            ),
            "vastus_lateralis": (Pull("vastus_lateralis", "vastus_lateralis", (-0.9, 18.5, -92.9)),),
        },
        HELLER.format(known="as quoted in an open research code"),
    ),
    "stairs": Peak(
        Pull("hip_contact", "head", (-59.3, -60.6, -236.3)),
        {
            "abductor": (Pull("abductor", "trochanter", (70.1, 28.8, 84.9)),),
            "iliotibial_tract": _strap("iliotibial_tract", (10.5, 3.0, 12.8), (-0.5, -0.8, -16.8)),
            "tensor_fasciae_latae": _strap("tensor_fasciae_latae", (3.1, 4.9, 2.9), (-0.2, -0.3, -6.5)),
            "vastus_lateralis": (Pull("vastus_lateralis", "vastus_lateralis", (-2.2, 22.4, -135.1)),),
            "vastus_medialis": (Pull("vastus_medialis", "vastus_medialis", (-8.8, 39.6, -267.1)),),
        },
        HELLER.format(known="from memory"),
    ),
}
"""By activity; tests hold the sums of all rows and the size of the hip contact against the sources."""
