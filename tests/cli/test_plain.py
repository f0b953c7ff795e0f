"""Whatever a file says comes to the terminal as text: nothing that it obeys, and no markup."""

from __future__ import annotations

import pytest

from pipeline.cli import console
from pipeline.cli.console import plain, say, say_whole
from pipeline.cli.shown.claims import print_claims
from pipeline.cli.wide import say_table
from pipeline.tables.judged import CLAIM_COLUMNS

ODD = "a\x1b[2Jb\u202ec\x07[/bold]{d}"
SHOWN = r"a\x1b[2Jb\u202ec\x07[/bold]{d}"


def test_signs_that_a_terminal_obeys_are_named():
    assert plain(ODD) == SHOWN
    assert plain("é × 2\nN·m² ≤ –") == "é × 2\nN·m² ≤ –"
    assert plain("\U0010ffff\r\x9b") == r"\U0010ffff\r\x9b"


def test_all_that_prints_does_so(capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch):
    monkeypatch.setattr(console, "console", console.Console(width=200))
    say(ODD)
    say_whole(ODD)
    say_table(ODD, ("name", "what"), [(ODD, "1")])
    claim = dict.fromkeys(CLAIM_COLUMNS, "")
    print_claims([claim | {"sentence": ODD, "result": "holds", "what": ODD, "reason": ODD}])
    said = capsys.readouterr().out
    assert said.count(SHOWN) == 7
    assert not {sign for sign in said if not sign.isprintable() and sign != "\n"}
