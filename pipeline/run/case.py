"""A case: one mesh's worth of work, as plain data."""

from __future__ import annotations

import hashlib
import json
from dataclasses import dataclass
from functools import cached_property, lru_cache

from geometries.assembly import assemble
from geometries.bone import Defect, Femur
from geometries.constructs import Construct
from geometries.solids import Geometry
from pipeline.fem.meshing.sizes import Level
from pipeline.loading.loads import Load
from pipeline.measures.dictionary import Scheme
from pipeline.storage.provenance import fingerprint
from pipeline.study.stages import Stage

SCHEMA = 3


@dataclass(frozen=True)
class Case:
    """One mesh's worth of work: a construct, all tissue stages and all loads.

    Strain bands are schemes by which tissue strain is sorted; the variant is the point of the study's
    design that it belongs to, if there is one. A study may ask for more than its results, for which a
    reduced model is kept that knows other loads besides.
    """

    construct: Construct
    femur: Femur
    defect: Defect
    level: Level
    stages: tuple[Stage, ...]
    loads: tuple[Load, ...]
    strain_bands: tuple[Scheme, ...]
    variant: str = ""
    asks_more: bool = False
    beside: tuple[Load, ...] = ()

    @property
    def has_twin(self) -> bool:
        """Whether its reduced model is made and kept too."""
        return self.asks_more and self.has_tissue

    @property
    def name(self) -> str:
        """Name of the construct."""
        return self.construct.name

    @property
    def label(self) -> str:
        """Variant and construct, as one word."""
        return f"{self.variant}-{self.name}" if self.variant else self.name

    @property
    def own_defect(self) -> Defect:
        """The construct's own defect, else the study's."""
        return self.construct.defect or self.defect

    @cached_property
    def address(self) -> str:
        """Hash of everything that the results depend on, code and its versions too; 16 digits.

        The construct's name is not among it, nor are stages of an intact femur, which has no tissue.
        """
        record = {
            "schema": SCHEMA,
            "computes": fingerprint(),
            "construct": self.construct.model_dump(mode="json", exclude={"name", "defect"}),
            "femur": self.femur.model_dump(mode="json"),
            "defect": self.own_defect.model_dump(mode="json"),
            "level": self.level,
            "stages": [stage.model_dump(mode="json") for stage in self.stages if self.has_tissue],
            "strain_bands": self.strain_bands,
            "loads": [load.model_dump(mode="json") for load in self.loads],
        }
        return hashlib.sha256(json.dumps(record, sort_keys=True).encode()).hexdigest()[:16]

    @property
    def has_site(self) -> bool:
        """Whether there is a femur, and with it a level of the gap."""
        return self.construct.has_femur

    @property
    def is_whole(self) -> bool:
        """Whether it is bone without a gap, whose mesh does not tell where it is read."""
        return self.has_site and not self.has_tissue

    @property
    def has_tissue(self) -> bool:
        """Whether the tissue stages matter."""
        return self.construct.has_gap

    def geometry(self) -> Geometry:
        """Assemble what is to be meshed.

        Raises
        ------
        StudyError
            If the parts do not fit each other.
        """
        return _assembled(self.construct, self.femur, self.own_defect)


@lru_cache(maxsize=4)
def _assembled(construct: Construct, femur: Femur, defect: Defect) -> Geometry:
    """The same for cases that differ in tissue and loads alone, which come one after the other."""
    return assemble(construct, femur, defect)
