"""One trial: a door, a seed, and a folder of its own with something beside it to be left alone."""

from __future__ import annotations

import shutil
import zlib
from collections.abc import Sequence
from pathlib import Path

from tests.hostile.doors import DOORS
from tests.hostile.guard import FAULT, Ended, seen
from tests.hostile.mutate import Mutator

SECRET = "secret of another\n"
OURS = ("inside", "kept")


def trial(name: str, seed: Sequence[int], scratch: Path) -> Ended:
    """Try a door once; what it does beside its folder is a fault too."""
    inside, outside = scratch / "inside", scratch / "outside"
    for folder in (inside, outside):
        shutil.rmtree(folder, ignore_errors=True)
        folder.mkdir()
    (outside / "keep.csv").write_text(SECRET, encoding="utf-8")
    (outside / "checksums.txt").write_text(SECRET, encoding="utf-8")
    before = _beside(scratch)
    ended = DOORS[name](Mutator((*seed, zlib.crc32(name.encode()))), inside)
    after = _beside(scratch)
    if after != before:
        changed = sorted(name for name in {*before, *after} if before.get(name) != after.get(name))
        return Ended(FAULT, f"changed beside its folder: {', '.join(changed)}; {ended.said}")
    return ended


def _beside(scratch: Path) -> dict[str, object]:
    """All that lies beside a trial's own folder."""
    top = {path.name: None for path in scratch.iterdir() if path.name not in OURS}
    return {**top, **seen(scratch / "outside")}
