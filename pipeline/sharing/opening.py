"""A bundle from someone else: nothing of it is trusted before it was looked at."""

from __future__ import annotations

import shutil
import stat
import struct
import zipfile
import zlib
from collections.abc import Iterable
from pathlib import Path, PurePosixPath

from geometries.errors import StudyError
from pipeline.storage.checksums import CHECKSUMS, digest_of, read_checksums
from pipeline.storage.proof import prove

KINDS = frozenset(
    (".cff", ".csv", ".html", ".json", ".parquet", ".png", ".svg", ".toml", ".txt", ".vtu")
)  # none of these is ever run; a pickle would be
MOST_FILES = 500_000  # 20,000 points of a design with six constructs have fewer
MOST_BYTES = 64 * 2**30  # unpacked; a thousand cases with their fields have less
MOST_TIMES = 200  # larger than packed; a table is about 10 times, zeros alone are 1000 times
SMALL_BYTES = 2**20  # below that, a file's ratio does no harm
WAYS = (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED)  # other ways of packing take memory as they like
_BROKEN = (
    zipfile.BadZipFile, zlib.error, struct.error, EOFError, NotImplementedError, RuntimeError,
    UnicodeDecodeError, OverflowError,
)  # fmt: skip


def opened(bundle: Path, into: Path) -> Path:
    """Unpack a bundle, and prove that it holds what it says.

    Parameters
    ----------
    bundle : Path
        A bundle, or the folder of an unpacked one, or of a run.
    into : Path
        Folder to unpack into, new or empty; a folder is not copied.

    Returns
    -------
    Path
        The folder of its files.

    Raises
    ------
    StudyError
        If it can not be read, has an entry that is not a plain file of a known kind inside it, is
        larger than the limits above, or a checksum differs.
    """
    if bundle.is_dir():
        if (bundle / CHECKSUMS).is_file():
            _verify(bundle)
        prove(bundle)
        return bundle
    try:
        with zipfile.ZipFile(bundle) as archive:
            entries = [entry for entry in archive.infolist() if not entry.is_dir()]
            _check_entries(bundle, entries)
            _check_sizes(bundle, entries)
            _unpack(archive, entries, into)
    except _BROKEN as error:
        raise StudyError(f"{bundle}: not a whole zip file ({error}); get the bundle again") from None
    except OSError as error:
        raise StudyError(
            f"{error.filename or bundle}: can not be read or unpacked ({error.strerror or error}); "
            "give a bundle, or free disk space"
        ) from None
    _verify(into)
    prove(into)
    return into


def _check_entries(bundle: Path, entries: Iterable[zipfile.ZipInfo]) -> None:
    seen: set[str] = set()
    for entry in entries:
        name = entry.orig_filename
        place = PurePosixPath(name)
        refused = ""
        if _leaves(name, place):
            refused = "leads out of the bundle; allowed are files inside it"
        elif stat.S_IFMT(entry.external_attr >> 16) not in (0, stat.S_IFREG):
            refused = "is a link or a device; allowed are plain files"
        elif place.suffix not in KINDS:
            refused = f"is of an unknown kind; allowed are {', '.join(sorted(KINDS))}"
        elif entry.compress_type not in WAYS:
            refused = "is packed in an unusual way; allowed are stored and deflated"
        elif name.casefold() in seen:
            refused = "occurs twice; allowed is once"
        if refused:
            raise StudyError(f"{bundle}: {name[:80]!r} {refused}; do not use this bundle")
        seen.add(name.casefold())


def _leaves(name: str, place: PurePosixPath) -> bool:
    """Whether a name could lead elsewhere on any system, or is not the plain form of itself."""
    odd = any(sign in name for sign in ("\\", ":")) or not name.isprintable()
    return odd or place.is_absolute() or ".." in place.parts or str(place) != name


def _check_sizes(bundle: Path, entries: list[zipfile.ZipInfo]) -> None:
    total = sum(entry.file_size for entry in entries)
    if len(entries) > MOST_FILES or total > MOST_BYTES:
        raise StudyError(
            f"{bundle}: {len(entries)} files of {total / 2**30:.3g} GiB; allowed {MOST_FILES} of "
            f"{MOST_BYTES / 2**30:g} GiB; ask for it without fields"
        )
    for entry in entries:
        times = entry.file_size / max(entry.compress_size, 1)
        if entry.file_size > SMALL_BYTES and times > MOST_TIMES:
            raise StudyError(
                f"{bundle}: {entry.filename[:80]!r} is {times:.0f} times larger than packed; allowed "
                f"{MOST_TIMES}; do not use this bundle"
            )


def _unpack(archive: zipfile.ZipFile, entries: list[zipfile.ZipInfo], into: Path) -> None:
    into.mkdir(parents=True, exist_ok=True)
    if any(into.iterdir()):
        raise StudyError(f"{into}: not empty; give a new folder to unpack into")
    needed, free = sum(entry.file_size for entry in entries), shutil.disk_usage(into).free
    if needed > free:
        raise StudyError(
            f"{into}: {needed / 2**30:.3g} GiB needed, {free / 2**30:.3g} GiB free; free disk space"
        )
    for entry in entries:
        path = into / entry.filename
        path.parent.mkdir(parents=True, exist_ok=True)
        # No more is read than the entry's stated size, which the limits above were held against.
        with archive.open(entry) as packed, path.open("xb") as file:
            shutil.copyfileobj(packed, file)


def _verify(folder: Path) -> None:
    """Hold every file against its checksum; none may be missing, and none be there besides."""
    found = {
        path.relative_to(folder).as_posix(): path
        for path in sorted(folder.rglob("*"))
        if path.is_symlink() or not path.is_dir()
    }
    if CHECKSUMS not in found:
        raise StudyError(f"{folder}: no {CHECKSUMS}, so nothing proves the rest; get the bundle again")
    expected = read_checksums(folder / CHECKSUMS)
    for name, path in found.items():
        if path.is_symlink():
            raise StudyError(f"{path}: a link; allowed are plain files; do not use this bundle")
        if name not in expected and name != CHECKSUMS:
            raise StudyError(f"{path}: not named in {CHECKSUMS}; remove it or get the bundle again")
    for name, digest in expected.items():
        if name not in found:
            raise StudyError(f"{folder}: {name} is missing; get the bundle again")
        if digest_of(found[name]) != digest:
            raise StudyError(
                f"{found[name]}: its checksum is not that in {CHECKSUMS}; it was changed or damaged: "
                "get the bundle again"
            )
