"""Balance checks say what failed, and let nothing pass that is not known to hold."""

from __future__ import annotations

from math import inf, nan

import pytest

from pipeline.measures.quality import Balance


@pytest.mark.parametrize("share", [2e-6, inf, nan])
@pytest.mark.parametrize("name", ["force", "moment", "energy"])
def test_a_share_that_is_too_large_or_no_number_fails(name: str, share: float):
    # Definition: a check holds only where it is known to.
    shares = {"force": 1e-9, "moment": 1e-9, "energy": 1e-9, "volume": 0.0} | {name: share}
    assert Balance(**shares).fault().startswith(f"{name} balance {share:.1e}")
    assert Balance(**shares | {name: 1e-6}).fault() == ""
