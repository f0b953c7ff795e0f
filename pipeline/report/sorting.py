"""The library that sorts and filters the table of results, from the package that bundles it."""

from __future__ import annotations

from itables.utils import read_package_file


def style() -> str:
    """Its style sheet."""
    return read_package_file("html", "dt_bundle.css")


def script() -> str:
    """Its JavaScript, a module."""
    return read_package_file("html", "dt_bundle.js")
