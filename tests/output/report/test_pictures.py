"""Pictures in the page are those of the run's own folder."""

from __future__ import annotations

from pathlib import Path
from types import SimpleNamespace
from typing import Any

from PIL import Image

from pipeline.output.report.pictures import indices


def test_no_name_brings_a_picture_from_elsewhere(tmp_path: Path):
    # Definition: a path through a folder that an attacker made ends in a folder of the same name.
    run, other = tmp_path / "run" / "figures", tmp_path / "other" / "figures"
    for folder in (run / "sensitivity-", other):
        folder.mkdir(parents=True)
    for place in (run / "sensitivity-nail.png", other / "mine.png"):
        Image.new("RGB", (4, 4)).save(place)
    names = ("nail", "/../../../other/figures/mine")
    rows = [{"construct": name, "label": "length"} for name in names]
    made: Any = SimpleNamespace(out=tmp_path / "run", sensitivity=rows)
    assert (run / f"sensitivity-{names[1]}.png").is_file()
    assert [picture.title for picture in indices(made)] == ["Sensitivity of nail"]
