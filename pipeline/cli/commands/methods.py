"""The command that describes a study for a paper."""

from __future__ import annotations

from pipeline.cli.delivery import OutFile, deliver
from pipeline.cli.options import Changes, StudyFile
from pipeline.storage.provenance import versions
from pipeline.study.config import load_study
from pipeline.writing.methods import methods as methods_of


def methods(study: StudyFile, changes: Changes = None, out: OutFile = None) -> None:
    """Describe a study as the methods of a paper do, with sources. Solves nothing."""
    config = load_study(study, tuple(changes or ()))
    deliver(methods_of(config, versions()), out)
