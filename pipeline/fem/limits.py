"""Limits that every mesh, solution and result keeps; papers quote them without loading a solver."""

from __future__ import annotations

VOLUME_TOLERANCE = 1e-3
"""Of a part's volume on the mesh from the exact one, as a share."""
ACCEPTED = 1e-8
"""Out-of-balance force of a solution, as a share of the load, where round-off is not larger."""
BALANCE_TOLERANCE = 1e-6
"""Forces, moments and energy of a result out of balance, as shares of the load's."""
BAR = 2.5  # of the error that one mesh estimates, which is 0.4 to 0.7 of the true one
