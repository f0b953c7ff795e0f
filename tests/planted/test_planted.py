"""The list of faults itself: each can be put in, and its tests are there."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable
from pathlib import Path

import pytest

from tests.planted.catalogue import ROOT, Fault, faults, places
from tests.planted.copies import judge

ALL = tuple(faults())
LEAST = {
    "mechanics": 39, "geometry": 27, "study": 14, "run": 27, "tables": 44, "reduced": 8,
}  # fmt: skip


def offenders(check: Callable[[Fault], object]) -> str:
    """What a check says of the faults that it refuses, a line each."""
    said = []
    for fault in ALL:
        try:
            check(fault)
        except (OSError, ValueError) as error:
            said.append(f"{fault.area}: {fault.name}: {error}")
    return "\n".join(said)


def changed(fault: Fault) -> str:
    """The file's text with the fault in it, which must not be the text as it was."""
    sound = (ROOT / fault.file).read_text(encoding="utf-8")
    with_fault = fault.put_into(sound)
    if with_fault == sound:
        raise ValueError("after is the same as before")
    return with_fault


def watched(fault: Fault) -> list[list[str]]:
    """Where the tests of a fault lie, which must have some."""
    if not fault.seen_by:
        raise ValueError("seen_by is empty; name a test")
    return [places(test) for test in fault.seen_by]


def test_every_fault_can_be_put_in_at_one_place():
    assert not offenders(changed), offenders(changed)


def test_the_tests_that_see_each_fault_are_there():
    assert not offenders(watched), offenders(watched)


def test_text_that_is_not_there_once_is_refused():
    fault = Fault("any", "twice", "none.py", "a", "b", ("test_planted",))
    with pytest.raises(ValueError, match="occurs 2 times"):
        fault.put_into("a a")
    with pytest.raises(ValueError, match="no such test"):
        places("test_planted::test_of_nothing")


ENDS = {  # what takes the place of "return 2 * x", how its test ends, and which is told as the first
    "return x + x + x": ("seen", "deep/test_twice.py::test_of[a b]"),
    "return x + x": ("NOT SEEN", ""),
    "return x +": ("broken", "exit code 2, ERROR tests/deep/test_twice.py"),
}


def test_a_fault_is_seen_by_a_failing_test_alone(tmp_path: Path):
    # Definition, on a program of one line; it is whole again after each fault, its date too.
    file, test = tmp_path / "twice.py", tmp_path / "tests" / "deep" / "test_twice.py"
    test.parent.mkdir(parents=True)
    file.write_text("def twice(x):\n    return 2 * x\n")
    test.write_text(
        "import pytest\nfrom twice import twice\n\n\n"
        '@pytest.mark.parametrize("x", [3], ids=["a b"])\n'
        "def test_of(x):\n    assert twice(x) == 6\n"
    )
    before = file.read_text(), file.stat().st_mtime_ns
    for after, ended in ENDS.items():
        found = judge(Fault("any", "any", "twice.py", "return 2 * x", after, ("test_twice",)), tmp_path)
        assert (found.verdict, found.first.partition(" - ")[0]) == ended
        assert (file.read_text(), file.stat().st_mtime_ns) == before


def test_names_are_unique_and_no_fault_comes_twice():
    assert len({fault.name for fault in ALL}) == len(ALL)
    assert len({(fault.file, fault.before, fault.after) for fault in ALL}) == len(ALL)


def test_every_area_keeps_its_faults():
    counts = Counter(fault.area for fault in ALL)
    assert counts.keys() == LEAST.keys()
    assert all(counts[area] >= least for area, least in LEAST.items()), counts
