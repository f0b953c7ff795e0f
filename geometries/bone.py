"""Parameters of the femur and of the gap in it."""

from __future__ import annotations

from typing import Literal, Self

from pydantic import Field, model_validator

from geometries.parameters import Parameters, Real


class Femur(Parameters):
    """A straight femur of revolution: tubular shaft, flared ends, cancellous cores."""

    length_mm: Real = Field(
        430.0,
        ge=380,
        le=490,
        description="Femur length, mm. Men 448, women 419 on average "
        "(Karakas & Harma 2008); default from memory.",
    )
    shaft_diameter_mm: Real = Field(
        27.0,
        ge=24,
        le=32,
        description="Outer diameter at mid-shaft, mm. 26.5 (men), 25.6 (women) "
        "in Karakas & Harma 2008; default from memory.",
    )
    canal_diameter_mm: Real = Field(
        10.5,
        ge=8,
        le=15,
        description="Canal diameter at the isthmus, mm. 10.49 ± 1.52 in 204 CT "
        "scans (DOI 10.1155/2015/459612).",
    )
    distal_diameter_mm: Real = Field(
        36.0,
        ge=32,
        le=45,
        description="Outer diameter a quarter of the length above the knee, mm. From memory.",
    )
    distal_cortex_mm: Real = Field(
        4.5, ge=2.5, le=6, description="Cortical thickness at the same level, mm. From memory."
    )
    proximal_diameter_mm: Real = Field(
        42.0, ge=32, le=50, description="Outer diameter at the proximal end, mm. From memory."
    )
    head_offset_mm: Real = Field(
        42.0,
        ge=24,
        le=61,
        description="Medial offset of the head centre, mm. 43.0 ± 6.8, Noble "
        "1988 as quoted by Cho 2015 (DOI 10.1155/2015/730538).",
    )
    head_below_top_mm: Real = Field(
        23.0,
        ge=18,
        le=30,
        description="Head centre below the top of the femur, mm: half of a "
        "46.1 mm head (Noble 1988 as quoted by Cho 2015).",
    )

    cortex: Literal["isotropic", "transverse"] = Field(
        "isotropic",
        description="Cortical bone: isotropic (17 000 MPa, 0.3) is up to twice too stiff in torsion; "
        "transverse has other constants across the shaft (Reilly & Burstein 1975, from memory).",
    )

    quality: Literal["normal", "osteoporotic"] = Field(
        "normal",
        description="Bone quality: osteoporotic has 0.66 of the cortical and 0.34 of the cancellous "
        "moduli (from memory).",
    )

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
        return "" if self.quality == "normal" else "_osteoporotic"

    @model_validator(mode="after")
    def _cortex_left(self) -> Self:
        wall = (self.shaft_diameter_mm - self.canal_diameter_mm) / 2
        if not 3 <= wall <= 12:
            raise ValueError(
                f"cortex at mid-shaft comes out as {wall:.1f} mm; allowed 3 to 12 mm: change "
                "shaft_diameter_mm or canal_diameter_mm"
            )
        return self


class Defect(Parameters):
    """A transverse gap through the shaft, filled by one tissue over the cross-section of the cortex."""

    site_percent: Real = Field(
        50.0,
        ge=20,
        le=80,
        description="Centre of the gap, percent of femur length from the hip: "
        "45 to 55 mid-shaft, 68 to 80 distal metadiaphysis (common practice, no source).",
    )
    gap_mm: Real = Field(
        3.0,
        ge=0.5,
        le=60,
        description="Distance between the bone ends, mm: 0.5 to 1 stiff, 2 to 5 "
        "lax, 20 to 60 segmental (common practice, no source).",
    )

    fill: Literal["cortex", "canal"] = Field(
        "cortex",
        description="What the tissue fills between the bone ends: the cortex's cross-section, or the "
        "canal too, up to a nail if there is one (common practice, no source).",
    )
    cuff_mm: Real = Field(
        0.0,
        ge=0,
        le=8,
        description="Thickness of a callus cuff round the bone ends, mm: 0 atrophic, 4 hypertrophic. "
        "It bonds to whatever implant it meets. From memory.",
    )
    cuff_length_mm: Real = Field(
        20.0,
        ge=2,
        le=60,
        description="Length of the cuff beyond the gap, both sides in sum, mm. From memory.",
    )

    @property
    def site(self) -> str:
        """Name of the level of the gap."""
        if self.site_percent < 40:
            return "proximal"
        return "mid-shaft" if self.site_percent <= 60 else "metadiaphysis"
