"""Rows of results, and what follows from them alone."""
