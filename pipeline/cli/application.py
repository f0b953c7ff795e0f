"""The application: what each command is for. A command itself is imported when it is called.

So a command waits only for what it needs: a plan is shown without the solver, help without either.
"""

from __future__ import annotations

from importlib import import_module
from typing import Any

import typer
from typer.core import TyperCommand, TyperGroup

from pipeline.storage.caution import CAUTION

PLAIN: dict[str, Any] = {
    "add_completion": False,
    "rich_markup_mode": None,
    "pretty_exceptions_enable": False,
}
COMMANDS = {  # as help lists them; each is the first line of its command's docstring
    "check": "Read a study file, check every construct's clearances, and print the plan. Solves "
    "nothing.",
    "draw": "Draw every construct to scale from two sides, as SVG and PNG, without solving anything.",
    "verify": "Solve cases with a known answer and set the answers side by side; exit code 1 if one is "
    "off.",
    "run": "Mesh and solve every construct of a study; write tables, pictures and fields for viewers.",
    "bundle": "Pack a finished run for others to check and rerun; exit code 1 if a claim of it fails.",
    "compare": "Compare the results of two runs, row by row; exit code 1 if they differ.",
    "reproduce": "Run a bundle again and judge its claims; exit code 1 if a result differs or a claim "
    "fails.",
    "report": "Make DIR/report.html again, from the files of a finished run alone. Solves nothing.",
    "new": "Write a commented study file for a question, to change in six places.",
    "schema": "Show the study file's JSON Schema, by which an editor offers keys and marks mistakes.",
    "methods": "Describe a study as the methods of a paper do, with sources. Solves nothing.",
    "changes": "Say in words what changed from one study file to another, key by key.",
    "export": "Write tables (LaTeX, spreadsheet, CSV) and charts of a finished run for a paper.",
}


class OnCall(TyperGroup):
    """Lists commands by name and summary, and imports the one that is called."""

    def __init__(self, **settings: Any) -> None:
        super().__init__(**settings)
        self.commands = {name: TyperCommand(name, help=words) for name, words in COMMANDS.items()}

    def resolve_command(self, ctx: Any, args: list[str]) -> tuple[str | None, Any, list[str]]:
        """Find the command that is called, with the words that are left for it."""
        name, listed, rest = super().resolve_command(ctx, args)
        return name, command(name) if name else listed, rest


def command(name: str) -> Any:
    """Import a command: the function of its name, in the module of its name."""
    alone = typer.Typer(**PLAIN)
    alone.command()(getattr(import_module(f"pipeline.cli.commands.{name}"), name))
    return typer.main.get_command(alone)


app = typer.Typer(
    cls=OnCall,
    no_args_is_help=True,
    help="Compare fixation constructs at a femoral gap by finite elements: how much the gap moves and "
    "strains, and how hard the implants are loaded. " + CAUTION,
    **PLAIN,
)
app.callback()(lambda: None)  # makes the application a group, though it holds no command yet
