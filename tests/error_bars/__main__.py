"""Do error bars from one mesh hold the finer mesh's value? A table of how many do.

``python -m tests.error_bars --out results/error-bars``

Runs the studies beside this file at the three mesh levels and holds every bar of
the first two against the fine value. The factors of the bars were chosen on the studies whose names
begin with ``chosen``; those that begin with ``held-back`` judge them. Effectivity is the estimate, that
a bar is a multiple of, over the difference to the fine mesh. An hour and a half on two cores; what is
finished is not run again.
"""

from __future__ import annotations

import argparse
import re
from collections import defaultdict
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from pipeline.fem.limits import BAR
from pipeline.measures.columns import CLASSED, ESTIMATED
from pipeline.measures.error_classes import OF_IMPLANTS
from pipeline.run.engine import Place
from pipeline.run.execute import Options, execute
from pipeline.run.planning import plan
from pipeline.storage.run_folder import RESULTS
from pipeline.study.config import load_study
from pipeline.tables.rows import Row, read_results

HERE = Path(__file__).parent
LEVELS = ("coarse", "default", "fine")
QUANTILE = 0.975  # of the chosen constructs' results, which a class's factor holds


@dataclass(frozen=True)
class Held:
    """A bar beside the fine mesh's value.

    Parameters
    ----------
    row : Row
        The result with its error.
    fine : float
        The fine mesh's value.
    """

    row: Row
    fine: float

    @property
    def ratio(self) -> float:
        """Difference to the fine mesh over the bar; no more than 1 where the bar holds."""
        return abs(self.fine - self.row.number) / self.row.half


def rows_at(study: Path, level: str, out: Path) -> list[Row]:
    """Results of a study at a level."""
    planned = plan(load_study(study, (f'mesh.level="{level}"',)))
    options = Options(Place(workers=1), keep="none", pages=False)
    return list(read_results(execute(planned, out / f"{study.stem}-{level}", options).out / RESULTS))


def held(study: Path, level: str, out: Path) -> Iterator[Held]:
    """All bars of a study at a level beside the fine values; a value of nil has none."""
    fine = {(row.label, row.key): row for row in rows_at(study, "fine", out)}
    for row in rows_at(study, level, out):
        other = fine.get((row.label, row.key))
        if row.error and row.number and other is not None and other.value is not None:
            yield Held(row, other.value)


def _group(row: Row) -> tuple[str, str]:
    """What results are counted with: how their bar is known, quantity and kind of implant."""
    part = re.split(r"[_/]", row.location)[0] if row.quantity in OF_IMPLANTS else ""
    return row.mesh, f"{row.quantity} {part}".strip()


def table(found: Iterable[Held]) -> Iterator[str]:
    """Lines of a table, by how bars are known and by quantity."""
    groups: dict[tuple[str, str], list[Held]] = defaultdict(list)
    for one in found:
        groups[_group(one.row)].append(one)
        groups[one.row.mesh, "**all**"].append(one)
    yield "| bar | quantity | values | held | effectivity, 5 to 95 % | bar, median | factor × |"
    yield "|---|---|---|---|---|---|---|"
    for (known, name), those in sorted(groups.items()):
        ratios = np.array([one.ratio for one in those])
        share = f"{100 * (ratios <= 1).mean():.1f} %"
        width = np.median([one.row.error or 0.0 for one in those])
        seen = (
            np.quantile(1 / (BAR * ratios[ratios > 0]), (0.5, 0.05, 0.95)) if ratios.any() else [0] * 3
        )
        how = f"{seen[0]:.2f}, {seen[1]:.2f} to {seen[2]:.2f}" if known == ESTIMATED else ""
        factor = f"{np.quantile(ratios, QUANTILE):.2f}" if known == CLASSED else ""
        yield f"| {known} | {name} | {len(those)} | {share} | {how} | {width:.2g} % | {factor} |"


def main() -> None:
    """Run what is not finished and print the tables."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--out", type=Path, default=Path("results/error-bars"))
    parser.add_argument("studies", nargs="*", help="names of studies here; all by default")
    asked = parser.parse_args()
    out: Path = asked.out
    for which in ("chosen", "held-back"):
        listed = sorted(HERE.glob(f"{which}*.toml"))
        studies = [one for one in listed if one.stem in asked.studies or not asked.studies]
        if not studies:
            continue
        for level in LEVELS[:2]:
            print(f"\n### {which}, {level}: {', '.join(study.stem for study in studies)}\n")
            found = [one for study in studies for one in held(study, level, out)]
            print("\n".join(table(found)), flush=True)


if __name__ == "__main__":
    main()
