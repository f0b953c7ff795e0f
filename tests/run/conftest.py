"""A mesh that these tests share."""

from __future__ import annotations

from tests.models import small as small
