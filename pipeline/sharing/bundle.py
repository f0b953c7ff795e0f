"""A finished run in one file, for someone else to check and to run again."""

from __future__ import annotations

import shutil
import zipfile
from collections.abc import Iterator, Mapping
from pathlib import Path

from geometries.errors import StudyError
from pipeline.measures.exploring import LIVE
from pipeline.sharing.papers import papers
from pipeline.storage.casebook import CURVES, FIELDS, INDEX, LOG, ROWS, SUMMARY, TWIN, folder_of
from pipeline.storage.checksums import CHECKSUMS, checksum_lines, digest_of, read_checksums
from pipeline.storage.files import in_place
from pipeline.storage.proof import PROOF, prove
from pipeline.storage.run_folder import CLAIMS, INPUTS, RESULTS, STUDY, listed_cases

FINISHED = (STUDY, INPUTS, INDEX, RESULTS, "dictionary.csv")  # every finished run has these
CASE_FINISHED = (SUMMARY, ROWS, CHECKSUMS)
SHOWN = (
    "*.csv", "*.parquet", "report.html", "credibility.html", "claims.html",
    "figures/*.png", "figures/*.svg",
)  # fmt: skip
NEVER = (1980, 1, 1, 0, 0, 0)  # the earliest time that the format knows, in place of the present
PLAIN_FILE = 0o100644
UNIX = 3
MANY = 5  # names in one sentence
Content = Path | bytes


def bundle(
    folder: Path, target: Path, *, claims: Path | None = None, with_fields: bool = False
) -> Path:
    """Pack a finished run into one file.

    Parameters
    ----------
    folder, target : Path
        The run's results, and the file to write, ``.zip``, which is returned.
    claims : Path, optional
        Claims file to pack; by default ``claims.toml`` of the folder, if it has one.
    with_fields : bool
        Whether to pack meshes and fields too; they are most of a run's size.

    Raises
    ------
    StudyError
        If the run is not finished, or a case's file is no longer what the run wrote.
    OutputError
        If the file can not be written.

    Notes
    -----
    Names are sorted and times left out, so the same folder gives the same bytes wherever the same
    version of zlib packs them.
    """
    prove(folder)
    _check_finished(folder)
    files: dict[str, Content] = {
        path.relative_to(folder).as_posix(): path for path in _files(folder, with_fields)
    }
    if claims is not None:
        files[CLAIMS] = claims
    files |= {name: text.encode() for name, text in papers(folder).items()}
    digests = {name: digest_of(content) for name, content in files.items()}
    _check_cases(folder, digests)
    files[CHECKSUMS] = checksum_lines(digests).encode()
    _write(files, target)
    return target


def _roots(folder: Path) -> list[Path]:
    """The run's own folder, and those of other mesh levels below it."""
    return [folder, *sorted(path for path in folder.glob("levels/*") if path.is_dir())]


def _finished_cases(root: Path) -> list[Path]:
    """Folders of the cases that did not fail; constructs may share one."""
    names = dict.fromkeys(row["case"] for row in listed_cases(root) if row["status"] == "ok")
    return [folder_of(root, name) for name in names]


def _check_finished(folder: Path) -> None:
    missing = [name for name in FINISHED if not (folder / name).is_file()]
    if not missing:
        missing = [
            (case / name).relative_to(folder).as_posix()
            for root in _roots(folder)
            for case in _finished_cases(root)
            for name in CASE_FINISHED
            if not (case / name).is_file()
        ]
    if missing:
        more = f" and {len(missing) - MANY} more" if len(missing) > MANY else ""
        raise StudyError(
            f"{folder}: not a finished run, it has no {', '.join(missing[:MANY])}{more}; end the run "
            "first: the same command goes on with it"
        )


def _files(folder: Path, with_fields: bool) -> Iterator[Path]:
    kept = (*CASE_FINISHED, CURVES, LOG, *([FIELDS, TWIN] if with_fields else []))
    for root in _roots(folder):
        named = [path for name in (STUDY, INPUTS, CLAIMS, LIVE, PROOF) for path in root.glob(name)]
        shown = [path for pattern in SHOWN for path in root.glob(pattern)]
        stored = [case / name for case in _finished_cases(root) for name in kept]
        yield from (path for path in (*named, *shown, *stored) if path.is_file())


def _check_cases(folder: Path, digests: Mapping[str, str]) -> None:
    """Refuse to pass on a case that is not what its run wrote."""
    for root in _roots(folder):
        for case in _finished_cases(root):
            place = case.relative_to(folder).as_posix()
            for name, expected in read_checksums(case / CHECKSUMS).items():
                if digests.get(f"{place}/{name}", expected) != expected:
                    raise StudyError(
                        f"{case / name}: not what the run wrote, its checksum differs from that in "
                        f"{CHECKSUMS}; run that case again"
                    )


def _write(files: Mapping[str, Content], target: Path) -> None:
    """Write the file; whole or not."""
    with in_place(target) as draft:
        target.parent.mkdir(parents=True, exist_ok=True)
        with zipfile.ZipFile(draft, "w") as archive:
            for name in sorted(files):
                _add(archive, name, files[name])


def _add(archive: zipfile.ZipFile, name: str, content: Content) -> None:
    entry = zipfile.ZipInfo(name, NEVER)
    entry.compress_type, entry.create_system = zipfile.ZIP_DEFLATED, UNIX
    entry.external_attr = PLAIN_FILE << 16
    if isinstance(content, bytes):
        archive.writestr(entry, content)
        return
    entry.file_size = content.stat().st_size  # tells whether the entry needs the format for large ones
    with content.open("rb") as source, archive.open(entry, "w") as packed:
        shutil.copyfileobj(source, packed)
