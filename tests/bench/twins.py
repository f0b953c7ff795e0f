"""``python -m tests.bench.twins plate nail-10 --points 10``: reduced models against the full one.

Of constructs of the demo: seconds to make one, coordinates, megabytes, milliseconds for an answer of
gap movement and of every quantity, and at random materials the largest difference from the full model
and how often it lay within what was told.
"""

from __future__ import annotations

import argparse
import tempfile
import time
from collections import defaultdict
from pathlib import Path

import numpy as np
from threadpoolctl import threadpool_limits

from pipeline.fem.kernels.threads import use_threads
from pipeline.fem.meshing.mesher import build_mesh
from pipeline.fem.space import Array
from pipeline.measures.dictionary import Measure
from pipeline.measures.error_classes import kind_of_result, sizes_of
from pipeline.reduced.model import BeyondError
from pipeline.reduced.packed import pack
from pipeline.reduced.twin import Twin
from pipeline.run.case import Case
from pipeline.run.equilibrium import NO_STAGE, Equilibrium, Prepared
from pipeline.run.explored import Inquiry, InquiryReader
from pipeline.run.planning import plan
from pipeline.run.reading import Loaded, StageReadings
from pipeline.run.reducing import reduced_twin
from pipeline.run.twins import MOVED, TwinStage
from pipeline.study.config import load_study

DEMO = Path(__file__).parents[2] / "configs" / "demo.toml"
SAMPLES, SEED, SHOWN = 1000, 11, 12
ASKED = {"gap movement": ("gap_movement", "far"), "every quantity": ("tissue_volume", "gap")}
"""What is asked; beside movements alone, all is read."""
CHECKS = ("statics_residual", "fragment_residual")


def full(made: Prepared, case: Case, elasticity: Array, twin: Twin) -> dict[str, list[Measure]]:
    """Measures of the full model by load."""
    _, found = made.settled(made.assembled(elasticity), twin.model.chosen)
    settled = Equilibrium(**vars(found), stage=NO_STAGE, elasticity=elasticity, errors={})
    reading, measures = StageReadings.of(made.mesh, made.geometry, settled), {}
    for load in case.loads:
        if load.name in found.states:
            loaded = Loaded.of(found, load.name)
            measures[load.name] = list(reading.under(case, load, loaded)[0])
    return measures


def judge(made: Prepared, case: Case, twin: Twin, points: int) -> None:
    """Compare at random materials."""
    chance, ranges = np.random.default_rng(SEED), twin.model.ranges
    off: dict[str, list[tuple[float, bool]]] = defaultdict(list)
    left = 0
    for _ in range(points):
        weights = ranges.at(chance.random(ranges.dimension))
        wanted = full(made, case, twin.readout.terms.elasticity(weights), twin)
        stage = TwinStage.of(twin, made.geometry, weights)
        for load in case.loads:
            if load.name not in wanted:
                continue
            units = made.loads[load.name]
            try:
                told, _ = stage.under(case, load, units)
            except BeyondError:
                left += 1
                continue
            shear = twin.readout.readings(made.geometry, weights).shear_modulus
            sizes = sizes_of(wanted[load.name], units, made.geometry.top[2], shear)
            known = {(one.quantity, one.location): one.value for one in wanted[load.name]}
            for each in told:
                one = each.measure
                value = known.get((one.quantity, one.location))
                if value is not None and one.quantity not in CHECKS:
                    away = abs(one.value - value)
                    size = sizes.get(kind_of_result(one)) or 1.0
                    off[one.quantity].append((away / size, away <= each.half))
    for name, some in (("movement and stiffness", MOVED), ("all else", set(off) - MOVED)):
        own = [each for quantity in some for each in off.get(quantity, [])]
        inside = 100 * sum(is_in for _, is_in in own) / max(len(own), 1)
        print(f"  {name}: {len(own)} values, {inside:.2f} % within what is told")
    print(f"  {left} of {points * len(case.loads)} answers left to the full model")
    worst = sorted(off, key=lambda quantity: -max(off[quantity])[0])
    for quantity in [
        *worst[:SHOWN],
        *(one for one in worst[SHOWN:] if "stiffness" in one or "5mm3" in one),
    ]:
        print(f"    {quantity}: at most {100 * max(off[quantity])[0]:.3f} % of the largest like it")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("constructs", nargs="+")
    parser.add_argument("--points", type=int, default=10)
    asked = parser.parse_args()
    use_threads(2)
    cases = {case.name: case for case in plan(load_study(DEMO)).cases}
    for name in asked.constructs:
        case = cases[name]
        geometry = case.geometry()
        made = Prepared.of(build_mesh(geometry, case.level), geometry, case)
        began = time.perf_counter()
        twin = reduced_twin(made, made.loads)
        seconds = time.perf_counter() - began
        with tempfile.TemporaryDirectory() as folder:
            path = Path(folder) / "reduced.npz"
            pack(path, case.address, twin)
            size = path.stat().st_size / 1e6
        model = twin.model
        print(f"{name}: {seconds:.0f} s, {len(model.forces)} coordinates ({model.quick} for movement "
              f"alone), {len(model.chosen)} stops, {size:.0f} MB", flush=True)  # fmt: skip
        stage = next(one for one in case.stages if one.name == "atrophic")
        inquiry = Inquiry(case, twin, stage, case.loads[0])
        chance = np.random.default_rng(SEED)
        samples = [
            {"tissue_modulus_mpa": float(10 ** chance.uniform(-0.7, 2.3)),
             "cortical_factor": float(chance.uniform(0.7, 1.1)),
             "weight_factor": float(chance.uniform(0.3, 1.5))}
            for _ in range(SAMPLES)
        ]  # fmt: skip
        for what, place in ASKED.items():
            reader = InquiryReader(inquiry, (place,))
            with threadpool_limits(1):
                began = time.perf_counter()
                found = reader.sampled(samples, None)
                each = (time.perf_counter() - began) / SAMPLES
            print(f"  {what}: {1000 * each:.1f} ms a sample on one thread, "
                  f"{int(np.isnan(found.values).sum())} of {SAMPLES} not covered")  # fmt: skip
        judge(made, case, twin, asked.points)


if __name__ == "__main__":
    main()
