"""What every command, page and bundle says before anyone uses a number."""

from __future__ import annotations

CAUTION_SHORT = (
    "Research and teaching only: idealised geometry, linear elastic, not validated for an individual, "
    "not a medical device."
)
"""What stands on a picture, where a line is all there is."""
CAUTION = f"{CAUTION_SHORT} Decisions belong to licensed clinicians and local rules."
