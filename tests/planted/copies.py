"""Copies of the program, in which tests run while a fault is in."""

from __future__ import annotations

import os
import shutil
import signal
import subprocess
import sys
import time
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from tests.planted.catalogue import ROOT, Fault, places

MOST_SECONDS = 600  # of the tests of one fault
MOST_SECONDS_OF_ALL = 3600
PASSED, FAILED = 0, 1  # exit codes of pytest; all others say that no test was run to its end
LISTING = ("git", "ls-files", "-z", "--cached", "--others", "--exclude-standard")
OPTIONS = ("-x", "-q", "-rfE", "--tb=line", "-p", "no:cacheprovider", "--hypothesis-seed=0")


@dataclass(frozen=True)
class Ended:
    """How the tests of a fault ended.

    Parameters
    ----------
    verdict : str
        ``seen``, ``NOT SEEN`` or ``broken``.
    first : str
        The first test that failed, or what broke.
    seconds : float
        How long it took.
    """

    verdict: str
    first: str
    seconds: float


def fill(copy: Path) -> Path:
    """Copy all that git does not ignore, and what is compiled beside it: both are told by date."""
    listing = subprocess.run(LISTING, cwd=ROOT, capture_output=True, check=True)
    kept = (ROOT / name for name in listing.stdout.decode().split("\0") if name)
    for source in filter(Path.is_file, kept):
        compiled = source.parent.joinpath("__pycache__").glob(f"{source.stem}.*")
        for path in (source, *compiled):
            target = copy / path.relative_to(ROOT)
            target.parent.mkdir(parents=True, exist_ok=True)
            shutil.copy2(path, target)
    return copy


@contextmanager
def planted(fault: Fault, copy: Path) -> Iterator[None]:
    """Put a fault into a copy, and take it out again, the file's date too."""
    file = copy / fault.file
    sound, stamp = file.read_bytes(), file.stat()
    file.write_text(fault.put_into(sound.decode("utf-8")), encoding="utf-8")
    try:
        yield
    finally:
        file.write_bytes(sound)
        os.utime(file, ns=(stamp.st_atime_ns, stamp.st_mtime_ns))


def judge(fault: Fault, copy: Path) -> Ended:
    """Run the tests of a fault while it is in."""
    start = time.perf_counter()
    with planted(fault, copy):
        code, said = run(fault.seen_by, copy)
    seconds = time.perf_counter() - start
    first = next((line for line in said.splitlines() if line.startswith(("FAILED ", "ERROR "))), "")
    if code == PASSED:
        return Ended("NOT SEEN", "", seconds)
    if code == FAILED and "::" in first:
        test = first.partition(" ")[2].partition(" - ")[0]
        return Ended("seen", test.removeprefix("tests/"), seconds)
    last = said.strip().splitlines()[-1:] or ["nothing"]
    return Ended("broken", f"exit code {code}, {first or last[0]}", seconds)


def run(tests: Iterable[str], copy: Path, most: float = MOST_SECONDS) -> tuple[int, str]:
    """Run tests in a copy, whose packages come first; exit code and what pytest said."""
    chosen = dict.fromkeys(place for test in tests for place in places(test, copy))
    process = subprocess.Popen(
        [sys.executable, "-m", "pytest", *OPTIONS, *chosen],
        cwd=copy,
        env=os.environ | {"PYTHONPATH": str(copy)},
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
        start_new_session=True,
    )
    try:
        said, _ = process.communicate(timeout=most)
    except subprocess.TimeoutExpired:
        os.killpg(process.pid, signal.SIGKILL)
        process.communicate()
        return -1, f"took longer than {most} s"
    return process.returncode, said
