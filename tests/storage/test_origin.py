"""What a run is written down with: versions, platform, and the commit where there is one."""

from __future__ import annotations

import platform
import subprocess
from pathlib import Path

import pytest

from pipeline.run.execute import Asked, write_inputs
from pipeline.run.planning import Plan
from pipeline.storage import provenance
from pipeline.storage.run_folder import read_inputs
from tests.made import DEMO
from tests.runs import asked

commit = provenance.commit.__wrapped__  # without what it remembers


def git(folder: Path, *words: str) -> str:
    who = ("-c", "user.name=nobody", "-c", "user.email=nobody@example.org")
    done = subprocess.run(["git", *who, *words], cwd=folder, capture_output=True, text=True, check=True)
    return done.stdout.strip()


@pytest.fixture
def checkout(tmp_path: Path) -> Path:
    folder = tmp_path / "code"
    folder.mkdir()
    (folder / "solving.py").write_text("x = 1\n")
    git(folder, "init", "--quiet")
    git(folder, "add", ".")
    git(folder, "commit", "--quiet", "--message", "Begin")
    return folder


def test_the_commit_of_a_checkout_is_recorded(checkout: Path):
    head = git(checkout, "rev-parse", "HEAD")
    assert len(head) == 40
    assert commit(checkout) == head
    (checkout / "results.csv").write_text("of a run\n")
    assert commit(checkout) == head, "a file that git does not follow is no code"
    (checkout / "solving.py").write_text("x = 2\n")
    assert commit(checkout) == f"{head}, changed since"


def test_code_that_is_no_checkout_has_no_commit(
    checkout: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
):
    """Installed within someone else's checkout, it has not that one's commit."""
    inside = checkout / "site-packages"
    inside.mkdir()
    (tmp_path / "plain").mkdir()
    assert commit(inside) is None
    assert commit(tmp_path / "plain") is None
    assert commit(tmp_path / "gone") is None
    monkeypatch.setenv("PATH", str(tmp_path))
    assert commit(checkout) is None, "there is no git"


@pytest.mark.parametrize("known", ["0123456789abcdef", None])
def test_a_run_s_folder_says_what_made_it(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, known: str | None
):
    monkeypatch.setattr(provenance, "commit", lambda: known)
    write_inputs(Plan(asked(), (), ()), Asked(DEMO.read_text(encoding="utf-8")), tmp_path)
    found = read_inputs(tmp_path)
    assert found.commit == known
    assert found.platform == platform.platform()
    assert found.versions == {"python": platform.python_version(), **provenance.versions()}
