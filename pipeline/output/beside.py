"""Published measurements beside a study's results, as a short table."""

from __future__ import annotations

from pathlib import Path

from pipeline.storage.files import read_if_any

BESIDE_HEADINGS = ("published", "model", "measured", "model / measured", "standing")


def beside(out: Path) -> list[tuple[tuple[str, ...], str]]:
    """Published measurements beside the study's results, of a design those of its first variant.

    Returns
    -------
    list of (tuple of str, str)
        A row for each in the order of ``BESIDE_HEADINGS``, and how the test differed from the model
        with what puts the result in doubt, or why there is none; nothing if no measurement is named.
    """
    found = []
    for row in published_of_first(out):
        doubts = f" In the model: {row['flags']}." if row["flags"] else ""
        found.append((_beside(row), row["reason"] or row["differs"] + doubts))
    return found


def published_of_first(out: Path) -> list[dict[str, str]]:
    """Rows of ``published.csv``, of a design those of its first variant."""
    rows = read_if_any(out / "published.csv")
    return [row for row in rows if row["variant"] == rows[0]["variant"]]


def _beside(row: dict[str, str]) -> tuple[str, ...]:
    unit = "" if row["unit"] == "1" else f" {row['unit']}"
    error = f" ± {float(row['model_error']):.2g}" if row["model_error"] else ""
    model = f"{float(row['model']):.3g}{error}{unit}" if row["model"] else "–"
    spread = f" ± {row['spread']}" if row["spread"] else ""
    ratio = f"{float(row['ratio']):.2f}" if row["ratio"] else "–"
    return row["name"], model, f"{row['measured']}{spread}{unit}", ratio, row["standing"]
