"""The construct as a beam: the least flexibility that its own cross-sections allow between sections.

At each height the parts act as one plane section, sum of E I about their common centroid. No stress
that balances the load stores less energy but for what Poisson's ratio locks up, so a model may not be
stiffer; a long bone without gap or implant is just as stiff. Shear of transverse forces is left out:
the loads that have a stiffness between sections have none, or hardly any where the femur is bowed.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from geometries.readout import Pin
from geometries.slices import Slices, slices
from geometries.solids import Geometry
from pipeline.fem.space import Array, Flags

FILLINGS = ("gap", "inner", "cuff", "canal")  # thin between stiff walls, they can not bulge


@dataclass(frozen=True)
class CompositeBeam:
    """Bone, implants and all else as one beam: flexibilities between the reference sections.

    Parameters
    ----------
    flexibility : Array
        Twice the mutual strain energies of the unit loads at the proximal end (6, 6), N·mm.
    free_nail : float or None
        Twist per torque, 1/(N·mm), of a nail that is held by its bolts alone, beside all else; None
        without such a nail, or in a bowed femur, where it bends as well.
    bent : float
        Share of what it yields along a force on its chord that it would not yield if it were straight.
    """

    flexibility: Array
    free_nail: float | None
    bent: float = 0.0

    @classmethod
    def of(cls, geometry: Geometry, elasticity: Array) -> CompositeBeam:
        """Integrate along the shaft.

        Parameters
        ----------
        geometry : Geometry
            Where the parts are.
        elasticity : Array
            Stress over strain of each part (parts, 6, 6), MPa.
        """
        cut = slices(geometry.parts, *geometry.sections)
        stretch, shear = _moduli(geometry, elasticity), elasticity[:, 4, 4]
        bending = np.einsum("p,npij->nij", stretch, cut.moments)
        twisting = np.einsum("p,npij->nij", shear, cut.moments)
        # pinv: where the spots miss all there is, the height adds nothing, and the bound only loosens
        compliance = np.linalg.pinv(bending, hermitian=True)
        force, torque = _resultants(geometry, cut.heights)
        flexibility = np.einsum(
            "n,nia,nij,njb->ab", cut.weights, force, compliance, force, optimize=True
        )
        rigidity = _about_centre(twisting)
        flexibility += np.einsum("n,na,nb->ab", cut.weights * _inverse(rigidity), torque, torque)
        bent = 0.0
        if geometry.bow is not None:
            bent = float(1 - cut.weights @ compliance[:, 0, 0] / flexibility[2, 2])
        return cls(flexibility, _free_nail(geometry, cut, shear), bent)


def modulus(elasticity: Array) -> float:
    """Young's modulus along the shaft from stress over strain (6, 6), MPa; 0 where there is nothing."""
    return float(1 / np.linalg.inv(elasticity)[2, 2]) if elasticity.any() else 0.0


def _moduli(geometry: Geometry, elasticity: Array) -> Array:
    """Stress over stretch along the shaft of each part, MPa, sideways held in fillings."""
    return np.array(
        [
            own[2, 2] if part.role in FILLINGS else modulus(own)
            for part, own in zip(geometry.parts, elasticity, strict=True)
        ]
    )


def _resultants(geometry: Geometry, heights: Array) -> tuple[Array, Array]:
    """What unit loads at the top send through sections, in each one's own frame.

    Returns
    -------
    Array
        Axial force, and its first moments along x and y (n, 3, 6).
    Array
        Torque (n, 6).
    """
    bow, count = geometry.bow, len(heights)
    axes = np.broadcast_to(np.eye(3), (count, 3, 3))
    places = heights[:, None] * np.array([0.0, 0.0, 1.0])
    if bow is not None:
        places = bow.place(places)
        axes = np.array([[bow.turn(tuple(axis), z) for axis in np.eye(3)] for z in heights])
    arms = np.cross((geometry.top - places)[:, None], np.eye(3)).transpose(0, 2, 1)
    moments = np.concatenate([arms, np.broadcast_to(np.eye(3), (count, 3, 3))], axis=2)
    pull = np.concatenate([axes[:, 2], np.zeros((count, 3))], axis=1)
    local = axes @ moments
    return np.stack([pull, -local[:, 1], local[:, 0]], axis=1), local[:, 2]


def _about_centre(moments: Array) -> Array:
    """Polar moments (n,) about the sections' own centres from moments (n, 3, 3) about the axis."""
    polar = moments[:, 1, 1] + moments[:, 2, 2]
    shift = moments[:, 0, 1] ** 2 + moments[:, 0, 2] ** 2
    return polar - shift * _inverse(moments[:, 0, 0])


def _inverse(values: Array) -> Array:
    """One over each value, 0 where there is nothing."""
    return np.divide(1.0, values, out=np.zeros_like(values), where=values > 0)


def _free_nail(geometry: Geometry, cut: Slices, shear: Array) -> float | None:
    """Twist per torque where nail and bone run side by side from bolt to bolt, 1/(N·mm).

    Between the bolts nearest to the gap nothing but tissue joins the two, so each carries one torque
    from end to end: two springs in parallel. Beyond, all acts as one. Torque about the shaft axis
    stays what it is in a nail beside or across that axis, so polar moments are about the axis.
    """
    roles = np.array([part.role for part in geometry.parts])
    if "nail" not in roles or geometry.gap is None or geometry.bow is not None:
        return None
    polar = shear * (cut.moments[:, :, 1, 1] + cut.moments[:, :, 2, 2])
    low, high = _free_span(geometry.pins, geometry.gap.height)
    within = (cut.heights > low) & (cut.heights < high)
    is_held = np.isfinite(low) and np.isfinite(high)
    nail = polar[:, roles == "nail"].sum(axis=1) * is_held
    beside = polar[:, ~np.isin(roles, ("nail", "bolt", "canal"))].sum(axis=1)
    joint = sum(_spring(rigidity, cut.weights, within) for rigidity in (nail, beside))
    outside = float((cut.weights * _inverse(polar.sum(axis=1)))[~within].sum())
    return outside + 1 / joint if joint > 0 else np.inf


def _free_span(pins: tuple[Pin, ...], middle: float) -> tuple[float, float]:
    """Heights of the edges of the bolts that face the gap; infinite where a side has none."""
    bolts = [pin for pin in pins if pin.name.startswith("bolt")]
    low = [pin.foot[2] + pin.diameter / 2 for pin in bolts if pin.foot[2] < middle]
    high = [pin.foot[2] - pin.diameter / 2 for pin in bolts if pin.foot[2] > middle]
    return max(low, default=-np.inf), min(high, default=np.inf)


def _spring(rigidity: Array, weights: Array, within: Flags) -> float:
    """Torque per twist of a stretch, N·mm; 0 where it is interrupted."""
    own = rigidity[within]
    return float(1 / (weights[within] / own).sum()) if own.all() else 0.0
