"""A run's folder as a whole: it holds what the run wrote, and nothing in it leads elsewhere.

``DIR/run-checksums.txt`` names, in the form that ``sha256sum -c`` reads, what the run wrote beside its
cases, each of which has checksums of its own. It is written last. ``report.html`` is not among them,
since it is made again from the rest.
"""

from __future__ import annotations

from pathlib import Path

from geometries.errors import StudyError
from pipeline.storage.checksums import checksum_lines, digest_of, read_checksums
from pipeline.storage.files import refuse_links, write_text

PROOF = "run-checksums.txt"
TABLES = (
    "assumptions", "brackets", "cases", "comparisons", "curves", "design", "dictionary", "published",
    "results", "robustness", "robustness_maps", "sensitivity", "shaft", "takeover",
)  # fmt: skip
PROVED = (
    "study.toml", "inputs.json", "live.json", "credibility.html", "results.parquet",
    *(f"{name}.csv" for name in TABLES), "figures/*.png", "figures/*.svg",
    "levels/*/cases.csv", "levels/*/results.csv", "levels/*/results.parquet",
)  # fmt: skip
"""What a run writes beside its cases; a person may put other files there."""


def seal(folder: Path) -> None:
    """Write down the checksums of what a run has written beside its cases."""
    sums = {name: digest_of(path) for name, path in _files(folder).items()}
    write_text(folder / PROOF, checksum_lines(sums))


def prove(folder: Path) -> None:
    """Hold a folder against its checksums; one without any is only looked through for links.

    Raises
    ------
    StudyError
        If it is none, has a link in it, or a file is missing or not what the run wrote.
    """
    if not folder.is_dir():
        raise StudyError(f"{folder}: no such folder; give that of a finished run")
    refuse_links(folder)
    if not (folder / PROOF).is_file():
        return
    there = _files(folder)
    for name, stated in read_checksums(folder / PROOF).items():
        if name not in there:
            raise StudyError(f"{folder}: {name[:80]!r} is missing; run the study again")
        if digest_of(there[name]) != stated:
            raise StudyError(
                f"{there[name]}: not what the run wrote, its checksum is not that in {PROOF}; run the "
                "study again, which takes finished cases as they are"
            )


def _files(folder: Path) -> dict[str, Path]:
    """What is there of a run's own files, by name."""
    found = (path for pattern in PROVED for path in folder.glob(pattern) if path.is_file())
    return {path.relative_to(folder).as_posix(): path for path in found}
