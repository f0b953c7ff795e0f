"""Refusal of constructs that move without being strained, with the motion's name."""

from __future__ import annotations

import numpy as np
import scipy.sparse as sp
from scipy.sparse.csgraph import connected_components

from pipeline.errors import SolveError
from pipeline.fem.mesh import Mesh
from pipeline.fem.space import Array, Flags
from pipeline.fem.stiffness import Stiffness

MOTIONS = (
    "slide medially", "slide anteriorly", "slide along the shaft",
    "turn about the medial axis", "turn about the anterior axis", "turn about the shaft",
)  # fmt: skip
FREE = 1e-9
MOSTLY = 0.9
REMEDY = "allowed is none: add bolts or screws, fill the gap, or hold more of the support"


def refuse_mechanisms(mesh: Mesh, stiffness: Stiffness, held: Flags, empty: Flags) -> None:
    """Raise if a body of joined cells is not held in all six rigid motions.

    Parameters
    ----------
    mesh, stiffness :
        The mesh and its stiffness.
    held : array of bool
        Held components (n, 3).
    empty : array of bool
        Nodes (n,) that belong to empty tissue alone.

    Raises
    ------
    SolveError
        Names the parts of the body and the motions that are free.
    """
    pattern = stiffness.patterns.nodes
    joined = np.trace(stiffness.nodes, axis1=1, axis2=2) != 0
    edges = (joined[joined], (pattern.rows[joined], pattern.indices[joined]))
    graph = sp.csr_array(edges, shape=(pattern.size, pattern.size))
    _, body = connected_components(graph, directed=False)
    for one in np.unique(body[~empty]):
        own = body == one
        free = free_motions(mesh.nodes[own], held[own])
        if free:
            parts = np.unique(mesh.part_of[own[mesh.cells[:, 0]]])
            names = ", ".join(mesh.parts[part].name for part in parts)
            raise SolveError(f"{names} can {', '.join(free)} (a mechanism); {REMEDY}")


def free_motions(positions: Array, held: Flags) -> list[str]:
    """Names of the rigid motions that supports leave to a body.

    Parameters
    ----------
    positions : Array
        Nodes (n, 3), mm.
    held : array of bool
        Their held components (n, 3).
    """
    centre = positions.mean(axis=0)
    size = np.linalg.norm(positions - centre, axis=1).max()
    arms = (positions - centre) / size
    motions = np.concatenate(
        [np.broadcast_to(np.eye(3), (len(arms), 3, 3)), np.cross(np.eye(3), arms[:, None])], axis=1
    )
    kept = motions.transpose(0, 2, 1)[held]
    values, vectors = np.linalg.eigh(kept.T @ kept)
    null = vectors[:, values <= FREE * max(float(values[-1]), 1.0)]
    share = np.linalg.norm(null, axis=1)
    named = [name for name, part in zip(MOTIONS, share, strict=True) if part > MOSTLY]
    return named or (["turn about an oblique axis"] if null.size else [])
