"""The fingerprint of what computes, so that no older result is taken for a new one."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from pipeline.storage import provenance

fresh: Callable[[], str] = provenance.fingerprint.__wrapped__  # without what it remembers


def test_another_line_of_code_or_another_version_is_another_fingerprint(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
):
    # Definition: the same as long as code and versions are.
    code = tmp_path / "solving.py"
    code.write_text("x = 1\n")
    monkeypatch.setattr(provenance, "computing", lambda: {"pipeline.run.solving": code})
    monkeypatch.setattr(provenance, "versions", lambda: {"numpy": "1.26.0"})
    found = [fresh(), fresh()]
    code.write_text("x = 2\n")
    found.append(fresh())
    monkeypatch.setattr(provenance, "versions", lambda: {"numpy": "1.26.1"})
    found.append(fresh())
    assert found[0] == found[1]
    assert len(set(found)) == 3


def test_what_makes_a_number_counts_and_what_only_shows_it_does_not():
    # From the imports: solver, measures, loads, bone and record, but no page.
    names = provenance.computing()
    for name in (
        "fem.kernels.lanes",
        "fem.solver.krylov",
        "measures.field",
        "loading.activities",
        "run.record",
    ):
        assert f"pipeline.{name}" in names
    assert "geometries.materials" in names
    assert not any(name.startswith(("pipeline.output", "pipeline.cli")) for name in names)
