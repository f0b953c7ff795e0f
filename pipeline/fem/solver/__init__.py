"""Displacements under many forces: multigrid, factors, iterations."""
