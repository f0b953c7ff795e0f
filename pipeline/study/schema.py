"""The study file as a JSON Schema, so that an editor can offer keys and mark mistakes while typing."""

from __future__ import annotations

from typing import Any

from geometries.sources import Source
from pipeline.study.config import StudyConfig
from pipeline.study.implants import BY_NAME, KEYS, TABLE
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
    _allow_names(schema)
    return {"$schema": DIALECT, **schema, "title": "gapstrain study file", "description": ABOUT}


def _allow_names(schema: dict[str, Any]) -> None:
    """Implants by name, which the models never see: they stand in their places before."""
    tables = schema["$defs"]
    held = set()
    for table in tables.values():
        for key, one in table["properties"].items():
            if key in KEYS and "$ref" in one:
                held.add(one["$ref"].rpartition("/")[2])
                ref = one.pop("$ref")
                one["anyOf"] = [{"$ref": ref}, {"type": "string"}]
    words = "Name of one of the study's implants, which this one is but for the keys given here."
    name = {"type": "string", "description": words}
    for one in held:
        tables[one]["properties"][BY_NAME] = name
    schema["properties"][TABLE] = {
        "type": "object",
        "description": "Implants by name, for constructs that share one.",
        "additionalProperties": {"anyOf": [{"$ref": f"#/$defs/{one}"} for one in sorted(held)]},
    }
