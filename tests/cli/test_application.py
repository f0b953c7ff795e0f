"""The application: it lists commands that it has not imported, and says of them what they say."""

from __future__ import annotations

import inspect
from importlib import import_module
from pathlib import Path

import pytest
from typer.testing import CliRunner

from pipeline import cli
from pipeline.cli import commands
from pipeline.cli.application import COMMANDS


def test_every_module_of_commands_is_listed():
    found = {path.stem for path in Path(commands.__file__).parent.glob("*.py")}
    assert found - {"__init__"} == set(COMMANDS)


@pytest.mark.parametrize("name", COMMANDS)
def test_a_summary_is_the_first_line_of_the_docstring(name: str):
    function = getattr(import_module(f"pipeline.cli.commands.{name}"), name)
    assert COMMANDS[name] == (inspect.getdoc(function) or "").splitlines()[0]


@pytest.mark.parametrize("name", COMMANDS)
def test_each_command_has_a_help_page_of_its_own(name: str):
    page = CliRunner().invoke(cli.app, [name, "--help"])
    assert page.exit_code == 0
    words = " ".join(page.output.split())
    assert f" {name} [OPTIONS]" in words
    assert COMMANDS[name] in words


def test_a_command_that_is_not_there_is_refused_with_those_alike():
    refused = CliRunner().invoke(cli.app, ["chek"])
    assert refused.exit_code == 2
    assert "No such command 'chek'. Did you mean 'check'" in refused.output
