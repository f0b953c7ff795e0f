"""The list of faults itself: each can be put in, and its tests are there."""

from __future__ import annotations

from collections import Counter
from pathlib import Path

import pytest

from tests.planted.catalogue import ROOT, Fault, faults, places
from tests.planted.copies import judge

ALL = tuple(faults())
LEAST = {"mechanics": 14, "geometry": 14, "study": 8, "run": 8, "tables": 12}
each = pytest.mark.parametrize("fault", ALL, ids=[fault.name for fault in ALL])


@each
def test_a_fault_can_be_put_in_at_one_place(fault: Fault):
    sound = (ROOT / fault.file).read_text(encoding="utf-8")
    assert fault.put_into(sound) != sound


@each
def test_the_tests_that_see_a_fault_are_there(fault: Fault):
    assert fault.seen_by
    assert all(places(test) for test in fault.seen_by)


def test_text_that_is_not_there_once_is_refused():
    fault = Fault("any", "twice", "none.py", "a", "b", ("test_planted",))
    with pytest.raises(ValueError, match="occurs 2 times"):
        fault.put_into("a a")
    with pytest.raises(ValueError, match="no such test"):
        places("test_planted::test_of_nothing")


@pytest.mark.parametrize(
    ("after", "verdict", "first"),
    [
        ("return x + x + x", "seen", "deep/test_twice.py::test_of[a b]"),
        ("return x + x", "NOT SEEN", ""),
        ("return x +", "broken", "exit code 2, ERROR tests/deep/test_twice.py"),
    ],
)
def test_a_fault_is_seen_by_a_failing_test_alone(tmp_path: Path, after: str, verdict: str, first: str):
    # Definition, on a program of one line; it is whole again after, its date too.
    file, test = tmp_path / "twice.py", tmp_path / "tests" / "deep" / "test_twice.py"
    test.parent.mkdir(parents=True)
    file.write_text("def twice(x):\n    return 2 * x\n")
    test.write_text(
        "import pytest\nfrom twice import twice\n\n\n"
        '@pytest.mark.parametrize("x", [3], ids=["a b"])\n'
        "def test_of(x):\n    assert twice(x) == 6\n"
    )
    before = file.read_text(), file.stat().st_mtime_ns
    found = judge(Fault("any", "any", "twice.py", "return 2 * x", after, ("test_twice",)), tmp_path)
    assert (found.verdict, found.first.partition(" - ")[0]) == (verdict, first)
    assert (file.read_text(), file.stat().st_mtime_ns) == before


def test_names_are_unique_and_no_fault_comes_twice():
    assert len({fault.name for fault in ALL}) == len(ALL)
    assert len({(fault.file, fault.before, fault.after) for fault in ALL}) == len(ALL)


def test_every_area_keeps_its_faults():
    counts = Counter(fault.area for fault in ALL)
    assert counts.keys() == LEAST.keys()
    assert all(counts[area] >= least for area, least in LEAST.items()), counts
    assert counts.total() >= 56
