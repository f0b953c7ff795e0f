"""Timings: our assembly and solver against general-purpose libraries. Never part of a test."""
