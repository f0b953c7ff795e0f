"""Parameters of the femur and of the gap in it."""

from __future__ import annotations

from typing import Annotated, Literal, Self

from pydantic import Field, model_validator

from geometries.bow import Bow
from geometries.parameters import Parameters, Real, Whole
from geometries.sources import Chosen, FromMemory, Practice, Source

KARAKAS = Source("Karakas & Harma 2008, DIR 14:29; default from six femurs, see distal_diameter_mm")
ISTHMUS = Source("DOI 10.1155/2015/459612")
NOBLE = Source("Noble 1988 as quoted by Cho 2015, DOI 10.1155/2015/730538")
REILLY = Source("Reilly & Burstein 1975, J Biomech 8:393, as quoted from Cowin 1989, Bone Mechanics")
BOWS = Source("PMC6177158 and J Orthop Trauma 2014, 28:6, read in their abstracts")
CALLUS = Source("Ghiasi 2019, DOI 10.1186/s12891-019-2854-z, read in a figure's caption")
SIX = Source("computed from six femurs cut by level, DOI 10.32614/CRAN.package.morphomap")
AGEING = Source(
    "canal 10.71 ± 2.2 mm in 1189 femurs, 3D-CT; Feik et al. 1997, J Anat 191:407; Dagan et al. 2004, "
    "Med Biol Eng Comput 42:549"
)
STEEPEST = 5.0  # wavelengths of a rough face over its height; steeper ones do not mesh well
LEAST_IF_ANY = {"cuff_mm": (0.3, "mm"), "bridge_percent": (1.0, "%")}
LEAST_FLARE = 0.95  # distal over shaft diameter; thinner, the bone would taper towards the knee

Preset = Literal["average", "wide_canal", "osteoporotic"]
WIDE: dict[str, float] = {"canal_diameter_mm": 15.0, "distal_cortex_mm": 4.0}
PRESETS: dict[Preset, dict[str, float]] = {
    "average": {},
    "wide_canal": WIDE,
    "osteoporotic": WIDE,
}
"""Dimensions, mm, that differ from the defaults.

The average bone is the mean of the six femurs of `SIX`. A canal of 15 mm is two standard deviations
above the mean at the isthmus and has twice the average's area there, as ageing makes it (2 in men, 3 in
women from 21 to 97 years, Feik et al.); the wall at a quarter is the six femurs' mean less one standard
deviation, 5.3 - 1.3 mm. That old bones are thicker outside as well is left out.
"""


class Femur(Parameters):
    """A femur of revolution: tubular shaft, flared ends, cancellous cores."""

    preset: Annotated[Preset, AGEING] = Field(
        "average",
        description="The bone whose dimensions stand where none are given: average; wide_canal, thin "
        "walls round a canal of 15 mm, distal_cortex_mm 4; osteoporotic, the same with all moduli 30 % "
        "lower.",
    )
    length_mm: Annotated[Real, KARAKAS] = Field(
        430.0, ge=380, le=490, description="Femur length, mm. Men 448, women 419 on average."
    )
    shaft_diameter_mm: Annotated[Real, KARAKAS] = Field(
        27.0,
        ge=24,
        le=32,
        description="Outer diameter from 40 to 65 % of the length, mm. Men 26.5, women 25.6.",
    )
    canal_diameter_mm: Annotated[Real, ISTHMUS] = Field(
        10.5,
        ge=8,
        le=15,
        description="Canal diameter at the isthmus, 55 to 65 % of the length, mm. 10.49 ± 1.52 in 204 "
        "CT scans.",
    )
    distal_diameter_mm: Annotated[Real, SIX] = Field(
        31.5,
        ge=27,
        le=45,
        description="Outer diameter a quarter of the length above the knee, mm. 31.1 ± 2.8.",
    )
    distal_cortex_mm: Annotated[Real, SIX] = Field(
        5.3,
        ge=2.5,
        le=6,
        description="Cortical thickness at the same level, mm. 5.3 ± 1.3.",
    )
    proximal_diameter_mm: FromMemory[Real] = Field(
        42.0, ge=32, le=50, description="Outer diameter at the proximal end, mm."
    )
    head_offset_mm: Annotated[Real, NOBLE] = Field(
        42.0, ge=24, le=61, description="Medial offset of the head centre, mm. 43.0 ± 6.8."
    )
    head_below_top_mm: Annotated[Real, NOBLE] = Field(
        23.0,
        ge=18,
        le=30,
        description="Head centre below the top of the femur, mm: half of a 46.1 mm head.",
    )

    cortex: Annotated[Literal["isotropic", "transverse"], REILLY] = Field(
        "transverse",
        description="Cortical bone: transverse has 17 000 MPa along the shaft and other constants "
        "across it; isotropic (17 000 MPa, 0.3) is twice too stiff in torsion.",
    )

    bow_radius_mm: Annotated[Real | None, BOWS] = Field(
        None,
        ge=700,
        le=2000,
        description="Radius of the antecurvature, mm; none is straight. 943 on average in 1232 "
        "femurs, 1120 ± 260 along the canals of 3922.",
    )

    @property
    def bow(self) -> Bow | None:
        """How the straight femur is bent; None if it is straight."""
        return None if self.bow_radius_mm is None else Bow(self.bow_radius_mm, self.length_mm)

    @property
    def top_mm(self) -> float:
        """Height of the proximal end above the knee end, mm: less than the length of a bowed femur."""
        return self.length_mm if self.bow is None else self.bow.chord

    @property
    def cortical(self) -> str:
        """Key of the cortex in the material table."""
        name = "cortical" if self.cortex == "isotropic" else "cortical_transverse"
        return name + self._suffix

    @property
    def cancellous(self) -> str:
        """Key of the cancellous bone in the material table."""
        return "cancellous" + self._suffix

    @property
    def _suffix(self) -> str:
        return "_osteoporotic" if self.preset == "osteoporotic" else ""

    @model_validator(mode="before")
    @classmethod
    def _as_preset(cls, given: object) -> object:
        """Take the preset's dimensions where none are given."""
        if not isinstance(given, dict):
            return given
        own = next((own for name, own in PRESETS.items() if name == given.get("preset")), {})
        return own | given

    @model_validator(mode="after")
    def _cortex_left(self) -> Self:
        wall = (self.shaft_diameter_mm - self.canal_diameter_mm) / 2
        if not 3 <= wall <= 12:
            raise ValueError(
                f"cortex at the isthmus comes out as {wall:.1f} mm; allowed 3 to 12 mm: change "
                "shaft_diameter_mm or canal_diameter_mm"
            )
        least = LEAST_FLARE * self.shaft_diameter_mm
        if self.distal_diameter_mm < least:
            raise ValueError(
                f"distal_diameter_mm = {self.distal_diameter_mm:g} is thinner than the shaft; allowed "
                f"{least:.1f} mm or more for shaft_diameter_mm = {self.shaft_diameter_mm:g}: thicken it"
            )
        return self


class Defect(Parameters):
    """A gap through the shaft, filled by one tissue over the cross-section of the cortex.

    It is transverse between flat bone ends unless it is said to be oblique, wedged, rough or bridged.
    """

    site_percent: Practice[Real] = Field(
        50.0,
        ge=20,
        le=80,
        description="Centre of the gap, percent of femur length from the hip: 45 to 55 mid-shaft, 68 "
        "to 80 distal metadiaphysis.",
    )
    gap_mm: Practice[Real] = Field(
        3.0,
        ge=0.5,
        le=120,
        description="Distance between the bone ends along the shaft, mm: 0.5 to 1 stiff, 2 to 5 lax, "
        "20 to 120 segmental.",
    )
    oblique_deg: Real = Field(
        0.0, ge=0, le=60, description="Tilt of both bone ends against the cross-section, degrees."
    )
    oblique_azimuth_deg: Real = Field(
        0.0,
        ge=-180,
        le=180,
        description="Side on which an oblique gap lies highest, degrees: 0 lateral, 180 medial.",
    )
    wedge_mm: Real = Field(
        0.0,
        ge=0,
        le=10,
        description="How much wider the gap is at the surface on its open side, mm; on the other side "
        "it is gap_mm wide.",
    )
    wedge_azimuth_deg: Chosen[Real] = Field(
        180.0, ge=-180, le=180, description="Open side of a wedge, degrees: 180 medial."
    )
    rough_mm: Real = Field(
        0.0, ge=0, le=2, description="Largest departure of a bone end from its plane, mm."
    )
    rough_wavelength_mm: Chosen[Real] = Field(
        8.0, ge=4, le=12, description="Wavelength of the roughness, mm."
    )
    rough_faces: Practice[Literal["matching", "unlike"]] = Field(
        "matching",
        description="Whether the two rough ends fit each other as broken, or are unlike as after "
        "resorption.",
    )
    bone_ends: Practice[Literal["contact", "pass"]] = Field(
        "contact",
        description="contact keeps the bone ends from passing through each other, without friction; "
        "soft tissue between them is squeezed flat first. pass lets them, as a bound.",
    )
    rough_seed: Practice[Whole] = Field(
        1, ge=0, le=1_000_000, description="Chooses one roughness among all."
    )
    bridge_percent: Real = Field(
        0.0,
        ge=0,
        le=90,
        description="Share of the cortex round the gap that bone has bridged, percent: 0, or 1 or "
        "more; 25 is one of the four cortices.",
    )
    bridge_azimuth_deg: Chosen[Real] = Field(
        180.0, ge=-180, le=180, description="Middle of the bridge, degrees: 180 medial."
    )
    fill: Practice[Literal["cortex", "canal"]] = Field(
        "cortex",
        description="What the tissue fills between the bone ends: the cortex's cross-section, or the "
        "canal too, up to a nail if there is one.",
    )
    cuff_mm: Annotated[Real, CALLUS] = Field(
        0.0,
        ge=0,
        le=8,
        description="Thickness of a callus cuff round the bone ends, mm, which bonds to whatever "
        "implant it meets: 0 atrophic, else 0.3 or more; 4 as in a published model of healing.",
    )
    cuff_length_mm: Chosen[Real] = Field(
        20.0, ge=2, le=60, description="Length of the cuff beyond the gap, both sides in sum, mm."
    )

    @property
    def site(self) -> str:
        """Name of the level of the gap."""
        if self.site_percent < 45:
            return "proximal"
        if self.site_percent <= 55:
            return "mid-shaft"
        return "distal" if self.site_percent < 68 else "metadiaphysis"

    @property
    def plain(self) -> Defect:
        """A flat transverse gap of the same length at the same site, without cuff or filling."""
        return Defect(site_percent=self.site_percent, gap_mm=self.gap_mm)

    @property
    def shape(self) -> str:
        """What sets it apart from a flat transverse gap, in words; empty for one."""
        sizes = {
            f"oblique {self.oblique_deg:g}°": self.oblique_deg,
            f"wedge {self.wedge_mm:g} mm": self.wedge_mm,
            f"rough {self.rough_mm:g} mm": self.rough_mm,
            f"{self.bridge_percent:g} % bridged": self.bridge_percent,
        }
        return ", ".join(words for words, size in sizes.items() if size)

    @model_validator(mode="after")
    def _none_or_some(self) -> Self:
        for name, (least, unit) in LEAST_IF_ANY.items():
            value = getattr(self, name)
            if 0 < value < least:
                raise ValueError(
                    f"{name} = {value:g} is less than a mesh can have; allowed is 0, or {least:g} "
                    f"{unit} or more: leave it out or raise it"
                )
        return self

    @model_validator(mode="after")
    def _not_too_steep(self) -> Self:
        if self.rough_mm > self.rough_wavelength_mm / STEEPEST:
            raise ValueError(
                f"rough_mm = {self.rough_mm:g} is too steep for rough_wavelength_mm = "
                f"{self.rough_wavelength_mm:g}; allowed {self.rough_wavelength_mm / STEEPEST:.2g} mm "
                "or less: lower it or lengthen the wave"
            )
        return self
