"""The command that packs a finished run for others."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from pipeline.cli.console import say
from pipeline.cli.options import Finished
from pipeline.cli.shown.claims import print_claims
from pipeline.sharing.bundle import bundle as packed
from pipeline.sharing.claims import borne_out, load_claims
from pipeline.sharing.reproduction import judged_claims
from pipeline.storage.caution import CAUTION
from pipeline.storage.run_folder import CLAIMS

ClaimsFile = Annotated[
    Path | None,
    typer.Option(
        "--claims", metavar="FILE", help="Claims file; DIR/claims.toml by default, if there is one."
    ),
]


def bundle(
    folder: Finished,
    out: Annotated[
        Path | None, typer.Option("--out", metavar="FILE", help="File to write; DIR.zip by default.")
    ] = None,
    claims: ClaimsFile = None,
    with_fields: Annotated[
        bool, typer.Option("--with-fields", help="Pack meshes and fields too; they are large.")
    ] = False,
) -> None:
    """Pack a finished run for others to check and rerun; exit code 1 if a claim of it fails."""
    if claims is not None:
        load_claims(claims)
    judged = judged_claims(claims or folder / CLAIMS, folder)
    own = folder.resolve()
    target = packed(
        folder, out or own.with_name(f"{own.name}.zip"), claims=claims, with_fields=with_fields
    )
    print_claims(judged)
    say(f"Bundle: {target}\n{CAUTION}")
    if not borne_out(judged):
        raise typer.Exit(1)
