"""SHA-256 sums of files, in the lines that ``sha256sum`` writes and checks."""

from __future__ import annotations

import hashlib
import re
from collections.abc import Mapping
from pathlib import Path

from geometries.errors import StudyError

CHECKSUMS = "checksums.txt"
_LINE = re.compile(r"([0-9a-f]{64}) [ *](.+)")


def digest_of(content: Path | bytes) -> str:
    """SHA-256 of a file or of bytes, in hexadecimal digits."""
    if isinstance(content, bytes):
        return hashlib.sha256(content).hexdigest()
    with content.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def checksum_lines(digests: Mapping[str, str]) -> str:
    """Text of a checksum file, sorted by file name."""
    return "".join(f"{digests[name]}  {name}\n" for name in sorted(digests))


def read_checksums(path: Path) -> dict[str, str]:
    """Sum of each file that a checksum file names.

    Raises
    ------
    StudyError
        If it can not be read, or has another line.
    """
    try:
        lines = path.read_text(encoding="utf-8").splitlines()
    except (OSError, UnicodeDecodeError) as error:
        raise StudyError(
            f"{path}: can not be read ({error}); get the bundle again, or run the study"
        ) from None
    found: dict[str, str] = {}
    for number, line in enumerate(lines, start=1):
        match = _LINE.fullmatch(line)
        if match is None:
            raise StudyError(
                f"{path}, line {number}: allowed is a SHA-256 sum, two blanks and a file's name; get "
                "the bundle again, or run the study"
            )
        found[match[2]] = match[1]
    return found
