"""The command that shows the schema of study files."""

from __future__ import annotations

import json

from pipeline.cli.delivery import OutFile, deliver
from pipeline.study.schema import study_schema


def schema(out: OutFile = None) -> None:
    """Show the study file's JSON Schema, by which an editor offers keys and marks mistakes."""
    deliver(json.dumps(study_schema(), indent=2, ensure_ascii=False), out)
