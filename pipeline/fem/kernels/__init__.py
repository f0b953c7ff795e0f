"""Compiled loops. The only room that imports numba."""
