"""The library that sorts and filters the table of results, from the package that bundles it."""

from __future__ import annotations


def style() -> str:
    """Its style sheet."""
    return _bundled("dt_bundle.css")


def script() -> str:
    """Its JavaScript, a module."""
    return _bundled("dt_bundle.js")


def _bundled(name: str) -> str:
    from itables.utils import read_package_file  # slow to import: it brings pandas

    return str(read_package_file("html", name))
