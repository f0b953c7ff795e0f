"""Meshes that these tests share."""

from __future__ import annotations

from tests.models import small as small
from tests.models import small_straight as small_straight
