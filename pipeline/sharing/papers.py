"""What a bundle says about itself: how to check, rerun and cite it, and what it was made with."""

from __future__ import annotations

import csv
import io
import json
from pathlib import Path
from textwrap import fill

from pipeline.storage.casebook import FIELDS, INDEX, TWIN
from pipeline.storage.caution import CAUTION
from pipeline.storage.checksums import CHECKSUMS
from pipeline.storage.run_folder import (
    CLAIMS,
    INPUTS,
    RESULTS,
    STUDY,
    Inputs,
    listed_cases,
    read_case,
    read_inputs,
)

README, CITATION, ENVIRONMENT, MESHES = "README.txt", "CITATION.cff", "environment.txt", "meshes.csv"
MESH_COLUMNS = ("case", "mesh_hash", "cells", "unknowns")
UNNAMED = "the authors of this study"
TERMS = f"""Licence
gapstrain is under GPL-3.0-or-later. These results are their authors' own: they say here under which
licence they pass them on.

Caution
{fill(CAUTION, 100)}"""


def papers(folder: Path) -> dict[str, str]:
    """Texts that are made for a bundle of a finished run, by the names of their files.

    A citation that lies in the run's folder is kept: there the authors put their names.
    """
    inputs, own = read_inputs(folder), folder / CITATION
    return {
        README: _readme(inputs),
        CITATION: (own.is_file() and own.read_text(encoding="utf-8")) or _citation(inputs),
        ENVIRONMENT: _environment(inputs),
        MESHES: _meshes(folder),
    }


def _title(inputs: Inputs) -> str:
    return str(inputs.study.get("title", "A study"))


def _readme(inputs: Inputs) -> str:
    return f"""{_title(inputs)}

A study by finite elements, packed so that others can check it and run it again.

What is in it
  {STUDY}       the study file
  {INPUTS}      what it was read as, with the changes made for the run
  {CLAIMS}      where there is one: sentences of a paper, and the results they rest on
  {RESULTS}      one row for each result; dictionary.csv defines every quantity
  report.html      where there is one: the run as a page; gapstrain report FOLDER makes it again
  claims.html      where there is one: what the run has for each of these sentences, as a page
  {INDEX}        which case belongs to which construct
  {MESHES}       a hash of the mesh of each case
  {ENVIRONMENT}  versions of what computed it
  {CITATION}     how to cite it
  {CHECKSUMS}    SHA-256 of every other file
  cases/           rows, curves, summary and log of each case; {FIELDS}, {TWIN} only if asked for
  levels/          the same of other meshes, where the run had three

Check it, in the unpacked folder
  sha256sum -c {CHECKSUMS}
A case's own {CHECKSUMS} may name a {FIELDS} or {TWIN} that is left out: add --ignore-missing there.

Run it again
  gapstrain reproduce BUNDLE              all of it
  gapstrain reproduce BUNDLE --subset 3   three constructs that span the study

{TERMS}
"""


def _citation(inputs: Inputs) -> str:
    """Citation File Format 1.2.0, keys of its guide; strings of JSON are strings of YAML too."""
    title = json.dumps(_title(inputs), ensure_ascii=False)
    version = json.dumps(inputs.versions.get("gapstrain", "not recorded"))
    return f"""\
# The authors are not known to the program. Put this file into the folder of the run, fill them in,
# one entry each, and bundle it again.
cff-version: 1.2.0
message: "If you use these results, please cite them as below."
type: dataset
title: {title}
authors:
  - name: "{UNNAMED}"
references:
  - type: software
    title: gapstrain
    version: {version}
    license: GPL-3.0-or-later
    authors:
      - name: "the authors of gapstrain"
"""


def _environment(inputs: Inputs) -> str:
    versions = {"python": "not recorded", **inputs.versions}
    lines = [f"{name} {versions[name]}" for name in sorted(versions)]
    commit = f"commit {inputs.commit or 'not recorded'}"
    return "\n".join([*lines, commit, f"platform {inputs.platform}", ""])


def _meshes(folder: Path) -> str:
    text = io.StringIO()
    writer = csv.DictWriter(text, MESH_COLUMNS, lineterminator="\n")
    writer.writeheader()
    for name in sorted({row["case"] for row in listed_cases(folder) if row["status"] == "ok"}):
        summary = read_case(folder, name)
        known = {**dict(summary.get("facts", {})), "mesh_hash": summary.get("mesh_hash", "")}
        writer.writerow({"case": name, **{key: known.get(key, "") for key in MESH_COLUMNS[1:]}})
    return text.getvalue()
