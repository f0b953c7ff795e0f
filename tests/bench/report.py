"""``python -m tests.bench.report``: seconds and megabytes of the report of 500 cases.

The folder is made up and written by what writes a run's tables; with the intact femur that a run adds
to each point it has 750 cases.
"""

from __future__ import annotations

import resource
import tempfile
import time
from pathlib import Path

from pipeline.output.report.page import report_page
from tests.output.report.large import write_large

SECONDS, MEGABYTES = 30, 20


def main() -> None:
    """Print all figures."""
    with tempfile.TemporaryDirectory() as folder:
        study, out = write_large(Path(folder))
        started, worked = time.perf_counter(), time.process_time()
        page = report_page(study, out, "gapstrain, measured.", "Numbers are made up.")
        seconds, work = time.perf_counter() - started, time.process_time() - worked
        size = page.stat().st_size / 1e6
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(f"report of 500 cases: {seconds:.1f} s, {work:.1f} s of work (asked: {SECONDS} s)")
    print(
        f"its size: {size:.1f} MB (asked: under {MEGABYTES}); most memory: {peak:.0f} MB, writing too"
    )


if __name__ == "__main__":
    main()
