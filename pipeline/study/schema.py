"""The study file as a JSON Schema, so that an editor can offer keys and mark mistakes while typing."""

from __future__ import annotations

from typing import Any

from geometries.sources import Source
from pipeline.study.config import StudyConfig
from pipeline.study.units import TAGS

DIALECT = "https://json-schema.org/draft/2020-12/schema"
ABOUT = (
    "A comparison of fixation constructs at a femoral gap. An editor sees keys, words and ranges; only "
    "gapstrain check sees whether the parts fit each other."
)


def study_schema() -> dict[str, Any]:
    """JSON Schema, draft 2020-12, of a study file, from the models that read it."""
    schema = StudyConfig.model_json_schema()
    for table in schema["$defs"].values():
        keys = table["properties"]
        # The word by which a table is known has no meaning of its own: that of its table.
        kind: dict[str, Any] = next((keys[tag] for tag in TAGS if tag in keys), {})
        kind["description"] = table["description"]
        for key in keys.values():
            if "source" in key:
                key["description"] = Source(key.pop("source")).after(key["description"])
        table["description"] = kind["description"]
    return {"$schema": DIALECT, **schema, "title": "gapstrain study file", "description": ABOUT}
