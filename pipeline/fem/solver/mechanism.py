"""Refusal of constructs that move without being strained, with the motion's name."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

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


@dataclass(frozen=True)
class LooseBody:
    """Joined cells that supports do not hold.

    Parameters
    ----------
    nodes : array of bool
        Its nodes (n,).
    parts : tuple of str
        Names of its parts.
    motions : tuple of str
        The rigid motions that are free.
    """

    nodes: Flags
    parts: tuple[str, ...]
    motions: tuple[str, ...]


def loose_bodies(mesh: Mesh, stiffness: Stiffness, held: Flags) -> list[LooseBody]:
    """Bodies of joined cells that are not held in all six rigid motions.

    Parameters
    ----------
    mesh, stiffness :
        The mesh and its stiffness.
    held : array of bool
        Held components (n, 3).
    """
    # Cells and nodes in one graph, in which a cell is joined to its nodes.
    solid = mesh.cells[stiffness.solid]
    size = len(solid) + len(mesh.nodes)
    starts = np.minimum(solid.shape[1] * np.arange(size + 1), solid.size)
    entries = (np.ones(solid.size), len(solid) + solid.ravel(), starts)
    graph = sp.csr_array(entries, shape=(size, size))
    body = connected_components(graph, directed=False)[1][len(solid) :]
    found = []
    for one in np.unique(body[~without_stiffness(mesh, stiffness)]):
        own = body == one
        free = free_motions(mesh.nodes[own], held[own])
        if free:
            parts = np.unique(mesh.part_of[own[mesh.cells[:, 0]]])
            names = tuple(mesh.parts[part].name for part in parts)
            found.append(LooseBody(own, names, tuple(free)))
    return found


def refuse_mechanisms(loose: Iterable[LooseBody]) -> None:
    """Raise if there is a body that supports do not hold.

    Raises
    ------
    SolveError
        Names the parts of the first one and the motions that are free.
    """
    for body in loose:
        raise SolveError(
            f"{', '.join(body.parts)} can {', '.join(body.motions)} (a mechanism); {REMEDY}"
        )


def without_stiffness(mesh: Mesh, stiffness: Stiffness) -> Flags:
    """Nodes (n,) that belong to empty tissue alone."""
    empty = np.ones(len(mesh.nodes), dtype=bool)
    empty[mesh.cells[stiffness.solid]] = False
    return empty


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
