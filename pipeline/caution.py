"""What every command, page and bundle says before anyone uses a number."""

from __future__ import annotations

CAUTION = (
    "Research and teaching only: idealised geometry, linear elastic, not validated for an individual, "
    "not a medical device. Decisions belong to licensed clinicians and local rules."
)
