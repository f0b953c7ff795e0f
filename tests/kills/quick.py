"""``python -m tests.kills.quick run STUDY``: the command line, with a model that takes seconds.

It is so coarse that what is solved is a poor answer to the same question: screws are pentagons, and a
reduced model has few snapshots. Workers import the module that a program began with, so they do as it
does.
"""

from __future__ import annotations

from dataclasses import replace

from pipeline.cli import main
from pipeline.fem import mesh
from pipeline.fem.meshing.sizes import LEVELS
from pipeline.reduced import greedy
from pipeline.run import reducing

LARGER, CIRCLE = 6.0, 5
COARSE = LEVELS["coarse"]
LEVELS["coarse"] = replace(
    COARSE,
    per_wall={role: LARGER * share for role, share in COARSE.per_wall.items()},
    longest=LARGER * COARSE.longest,
    shortest=LARGER * COARSE.shortest,
    sagitta=LARGER * COARSE.sagitta,
    rod_sagitta=LARGER * COARSE.rod_sagitta,
    circle=CIRCLE,
    idle_circle=CIRCLE,
    rod_circle=CIRCLE,
)
mesh.VOLUME_TOLERANCE = 0.2
greedy.ORDER, greedy.LOOKED_AFTER, greedy.MOST = (0, 2, 1), (2,), 3
reducing.LEFT = 1e-2

if __name__ == "__main__":
    main()
