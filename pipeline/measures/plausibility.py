"""Gates of plausibility: stiffness against the construct's own sections, and published bands.

A doubt is a sentence beside a result, never a failure and never advice.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from math import radians

from geometries.solids import Geometry
from pipeline.fem.space import Array
from pipeline.measures.beam import CompositeBeam, modulus
from pipeline.measures.dictionary import QUANTITIES, Measure
from pipeline.measures.literature import CONSTRUCT_BANDS, MODULI, PLATE_ADDED, Band, Traits
from pipeline.measures.play import TANGENT
from pipeline.measures.stiffness import by_energy

BEAM_PERCENT = 5.0  # flares and soft cores take 0.1 (torsion) to 4.5 % (axial) of a default femur
BOUND_PERCENT = 2.0  # what unlike Poisson's ratios and sampled sections leave to a bound
BENT_PERCENT = 10.0  # of an axial movement; common practice, no source
BY_ENERGY = "_by_energy"
BONE = ("cortex", "cancellous", "gap", "inner", "cuff")
STIFFNESSES = frozenset(name for name in QUANTITIES if "_stiffness" in name)


@dataclass(frozen=True)
class Doubt:
    """A sentence on results of a load.

    Parameters
    ----------
    sentence : str
        What is out of range: value, limit and source.
    quantities : frozenset of str
        Whose rows it concerns; empty for all rows of the load.
    """

    sentence: str
    quantities: frozenset[str] = frozenset()

    def concerns(self, measure: Measure) -> bool:
        """Whether it belongs beside a measure."""
        return not self.quantities or measure.quantity in self.quantities


@dataclass(frozen=True)
class Gates:
    """What the results of one stage of a construct are held against.

    Parameters
    ----------
    beam : CompositeBeam
        The construct's sections as a beam.
    is_bone : bool
        Whether it is whole bone alone, for which the beam is more than a bound.
    canal : str
        Material between nail and bone, "void" where there is none.
    bands : tuple of Band
        Published bands of such constructs.
    materials : tuple of Doubt
        On moduli, beside every stiffness.
    """

    beam: CompositeBeam
    is_bone: bool
    canal: str
    bands: tuple[Band, ...]
    materials: tuple[Doubt, ...]

    @classmethod
    def of(cls, geometry: Geometry, elasticity: Array) -> Gates:
        """Set up for a construct whose parts have these elasticities (parts, 6, 6), MPa."""
        moduli = {
            part.material: modulus(own) for part, own in zip(geometry.parts, elasticity, strict=True)
        }
        traits = _traits(geometry, moduli)
        bands = CONSTRUCT_BANDS if geometry.gap else ()  # a specimen is like no construct
        return cls(
            beam=CompositeBeam.of(geometry, elasticity),
            is_bone=geometry.gap is not None and not traits.implants and traits.gap == "none",
            canal=next((part.material for part in geometry.parts if part.role == "canal"), "void"),
            bands=tuple(band for band in bands if band.fits(traits)),
            materials=tuple(material_doubts(moduli)),
        )

    def under(
        self, found: list[Measure], load: Array, length: float, *, is_linear: bool
    ) -> Iterator[Doubt]:
        """Doubts on the measures of a load.

        Parameters
        ----------
        found : list of Measure
            All measures of the load.
        load : Array
            Shares of the unit loads.
        length : float
            Between the reference sections, mm.
        is_linear : bool
            Whether no stop bears; one may hold a nail more than its bolts do.
        """
        values = {one.quantity: one.value for one in found if one.quantity in STIFFNESSES}
        yield from self.materials
        work = float(load[:6] @ self.beam.flexibility @ load[:6])
        ideal = by_energy(load, length, work)
        if ideal is None:  # only pure loads have a bound
            return
        plain = ideal.quantity.removesuffix(BY_ENERGY)
        if plain == "axial_stiffness" and 100 * self.beam.bent > BENT_PERCENT:
            yield Doubt(bowed(self.beam.bent), frozenset({plain, plain + TANGENT, ideal.quantity}))
        for quantity in (plain, ideal.quantity):
            if quantity in values:
                for sentence in self._sentences(plain, values[quantity], ideal.value, is_linear):
                    yield Doubt(sentence, frozenset({quantity}))

    def _sentences(self, quantity: str, value: float, ideal: float, is_linear: bool) -> Iterator[str]:
        unit = QUANTITIES[quantity].unit
        found = [against_beam(value, ideal, unit, is_bone=self.is_bone)]
        if quantity == "torsional_stiffness" and is_linear and self.beam.free_nail is not None:
            free_nail = radians(1 / self.beam.free_nail) / 1000
            found.append(against_free_nail(value, free_nail, unit, self.canal))
        found += [band.doubt(value, unit) for band in self.bands if band.quantity == quantity]
        yield from filter(None, found)


def _traits(geometry: Geometry, moduli: Mapping[str, float]) -> Traits:
    implants = [part for part in geometry.parts if part.role not in BONE]
    gap = "none" if "tissue" not in moduli else "tissue" if moduli["tissue"] else "empty"
    return Traits(
        implants=frozenset(part.role for part in implants),
        materials=frozenset(part.material for part in implants),
        gap=gap,
        working_mm=geometry.facts.get("plate_working_length_mm", 0.0),
        area_mm2=geometry.beams[0].area if len(geometry.beams) == 1 else 0.0,
    )


def against_beam(value: float, ideal: float, unit: str, *, is_bone: bool) -> str:
    """Doubt on a stiffness beside that of the construct's own sections as a beam; empty if none.

    Parameters
    ----------
    value, ideal : float
        The model's stiffness and the beam's, in the same unit.
    unit : str
        That unit.
    is_bone : bool
        Whether the beam is the answer, as for whole bone, and not only what nothing exceeds.
    """
    off = 100 * (value / ideal - 1)
    against = f"{value:.3g} {unit} against {ideal:.3g} of its own sections as a beam, {off:+.1f} %"
    if is_bone and not abs(off) <= BEAM_PERCENT:
        limit = f"allowed ±{BEAM_PERCENT:g} % for whole bone"
        return f"{against}: {limit} (soft cores and flares take some), look at mesh and modulus"
    if not is_bone and not off <= BOUND_PERCENT:
        limit = f"impossible above +{BOUND_PERCENT:g} %, where all parts of a height act as one"
        return f"{against}: {limit}, look at mesh and modulus"
    return ""


def bowed(bent: float) -> str:
    """Doubt on an axial stiffness of a bowed shaft, of whose movement a share is bending."""
    return (
        f"the shaft is bowed, so that a force along its chord bends it: {100 * bent:.0f} % of this "
        f"movement, at most {BENT_PERCENT:g} % is told without a word; look at bending_stiffness, and "
        "compare with the same bow alone"
    )


def against_free_nail(value: float, limit: float, unit: str, canal: str) -> str:
    """Doubt on a torsional stiffness beyond a nail held by its bolts alone; empty if none.

    Parameters
    ----------
    value, limit : float
        The model's stiffness, and that of nail and tissue between the bolts next to the gap.
    unit : str
        Of both.
    canal : str
        What lies between nail and bone, "void" where nothing does.
    """
    if value <= limit * (1 + BOUND_PERCENT / 100):
        return ""
    against = f"{value:.3g} {unit} against {limit:.3g} of a nail that only its bolts hold (GJ / length)"
    if canal == "void":
        return f"{against}: impossible with a void canal, look for a tie between nail and bone"
    return f"{against}: what fills the canal ({canal}) carries torque, a loose nail turns more easily"


def material_doubts(moduli: Mapping[str, float]) -> Iterator[Doubt]:
    """Doubts on Young's moduli by material, MPa, beside every stiffness."""
    for material, value in moduli.items():
        sentence = MODULI[material].doubt(value, "MPa") if material in MODULI else ""
        if sentence:
            yield Doubt(f"modulus of {material} {sentence}", STIFFNESSES)


def plate_doubts(quantity: str, ratio: float, *, is_bench: bool) -> Iterator[str]:
    """Doubts on what a plate adds to a nail.

    Parameters
    ----------
    quantity : str
        A stiffness of a pure load.
    ratio : float
        With the plate over without.
    is_bench : bool
        Whether the gap is empty, as on the bench of the published ratios.
    """
    if not ratio >= 1 - BOUND_PERCENT / 100:
        yield f"{ratio:.3g} times the same nail alone: impossible, since a plate takes nothing away"
    for band in PLATE_ADDED if is_bench else ():
        sentence = band.doubt(ratio, "times the same nail alone")
        if sentence and quantity.removesuffix(BY_ENERGY) == band.quantity:
            yield sentence
