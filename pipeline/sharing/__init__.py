"""Passing a run on: packed, opened, compared, run again, and held against a paper's sentences."""
