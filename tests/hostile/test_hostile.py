"""Every door of the program stands some changed input, and what judges that sees what it should."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.hostile import doors
from tests.hostile.guard import DONE, FAULT, REFUSED, TooLongError, called, command, judged, limited
from tests.hostile.mutate import Mutator, as_toml
from tests.hostile.trials import trial
from tests.made import DEMO

SEED = 20
COUNTS = {
    "study": 20, "set": 20, "claims": 8, "bundle": 6, "twin": 25, "folder": 8, "links": 10,
    "page": 1,
}  # fmt: skip


def test_every_door_is_tried():
    assert COUNTS.keys() == doors.DOORS.keys()


@pytest.mark.filterwarnings("ignore:Duplicate name", "ignore::SyntaxWarning")
@pytest.mark.parametrize("name", COUNTS)
def test_a_door_stands_changed_input(name: str, tmp_path: Path):
    ended = [trial(name, (SEED, number), tmp_path) for number in range(COUNTS[name])]
    faults = [f"--first {number}: {one.said}" for number, one in enumerate(ended) if one.how == FAULT]
    assert not faults, "\n".join(faults)
    assert name == "page" or REFUSED in {one.how for one in ended}


def test_the_same_seed_changes_the_same():
    data = doors.studies()[0]
    one, two = ([as_toml(Mutator((1, number)).table(data)) for number in range(9)] for _ in "ab")
    assert one == two
    assert len({*one, as_toml(data)}) > 6


@pytest.mark.parametrize(
    ("code", "said", "how"),
    [
        (0, "Report: here", DONE), (1, "They differ.", DONE), (2, "x = 1: allowed 2", REFUSED),
        (2, "", FAULT), (2, "a" * 30_000, FAULT), (3, "gone", FAULT), (2, "x\x1b[2J", FAULT),
        (0, "x\u202ey", FAULT),
    ],
)  # fmt: skip
def test_what_counts_as_a_fault(code: int, said: str, how: str):
    assert judged(code, said).how == how


def test_a_traceback_and_a_command_without_end_are_faults():
    assert called(lambda: 1 / 0).how == FAULT
    assert called(lambda: int("x")).how == FAULT
    with pytest.raises(TooLongError, match="took longer than"):
        _endless()
    assert command("check", DEMO).how == DONE
    assert command("check", DEMO, "--set", "defect.gap_mm=-1").how == REFUSED


def _endless() -> None:
    with limited(0.05):
        while True:
            pass


def test_what_is_changed_beside_the_folder_is_a_fault(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    def spoil(_: Mutator, inside: Path) -> object:
        (inside.parent / "outside" / "keep.csv").write_text("mine now")
        return called(lambda: None)

    monkeypatch.setitem(doors.DOORS, "spoiling", spoil)
    assert trial("spoiling", (1, 0), tmp_path).how == FAULT
