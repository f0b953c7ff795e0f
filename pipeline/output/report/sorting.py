"""The library that sorts and filters the table of results, from the package that bundles it."""

from __future__ import annotations


def bundled(kind: str) -> str:
    """Its JavaScript, a module, or its style sheet: ``js`` or ``css``."""
    from itables.utils import read_package_file  # slow to import: it brings pandas

    return str(read_package_file("html", f"dt_bundle.{kind}"))
