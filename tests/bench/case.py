"""``python -m tests.bench.case``: seconds from study file to numbers, by what is done.

The demo's plate, and one of its nails with nothing that touches, with a canal that does, and with play
in its bolts too. It wants two free cores.
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

from pipeline.fem.kernels.threads import use_threads
from pipeline.run.case import Case
from pipeline.run.clock import Clock
from pipeline.run.planning import plan
from pipeline.run.solving import run_case
from pipeline.study.config import load_study

DEMO = Path(__file__).parents[2] / "configs" / "demo.toml"
WAYS = {
    "nothing touches": ("void", "tied", "pass"),
    "the canal": ("contact", "tied", "contact"),
    "canal and play": ("contact", "play", "contact"),
}


def touching(case: Case, canal: str, fit: str, bone_ends: str) -> Case:
    """The case with other interfaces of its nail and bone ends."""
    nail = case.construct.nail
    bolts = nail.bolts.model_copy(update={"fit": fit})
    nail = nail.model_copy(update={"canal": canal, "bolts": bolts})
    return replace(
        case,
        construct=case.construct.model_copy(update={"nail": nail}),
        defect=case.defect.model_copy(update={"bone_ends": bone_ends}),
    )


def main() -> None:
    use_threads(2)
    cases = {case.name: case for case in plan(load_study(DEMO)).cases}
    nail = next(name for name in cases if "nail" in name)
    plate = next(name for name in cases if "plate" in name)
    run_case(cases[plate], Clock())  # compiles every loop
    jobs = {plate: cases[plate]} | {
        f"{nail}, {way}": touching(cases[nail], *choices) for way, choices in WAYS.items()
    }
    for name, case in jobs.items():
        clock = Clock()
        found = run_case(case, clock)
        parts = " ".join(f"{step} {seconds:.1f}" for step, seconds in clock.seconds.items())
        print(f"{name}: {sum(clock.seconds.values()):.1f} s ({parts}), "
              f"{found.facts['unknowns']} unknowns", flush=True)  # fmt: skip


if __name__ == "__main__":
    main()
