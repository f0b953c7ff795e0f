"""Mesh, finite-element space, stiffness, loads and the linear solver."""
