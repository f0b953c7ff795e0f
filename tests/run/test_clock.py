"""The clock of a case against memory and time that are known."""

from __future__ import annotations

import sys
import time

import numpy as np
import pytest

from pipeline.run.clock import Clock


def test_steps_add_up_and_come_again():
    clock = Clock()
    for _ in range(2):
        with clock("rest"):
            time.sleep(0.05)
    assert list(clock.seconds) == ["rest"]
    assert 0.1 <= clock.seconds["rest"] < 2


def test_a_failed_step_is_counted():
    clock = Clock()
    with pytest.raises(ValueError, match="stop"), clock("fails"):
        raise ValueError("stop")
    assert "fails" in clock.seconds


@pytest.mark.skipif(sys.platform != "linux", reason="other systems keep the highest peak")
def test_peak_memory_belongs_to_its_step():
    clock = Clock()
    with clock("large"):
        np.ones(50_000_000)  # 400 MB
    with clock("small"):
        pass
    assert 350 < clock.peak_mb["large"] - clock.peak_mb["small"] < 450
