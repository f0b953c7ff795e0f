"""A browser, started once for the tests of a file."""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from playwright.sync_api import Browser

from tests.output.report.opened import started_browser


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    with started_browser() as one:
        yield one
