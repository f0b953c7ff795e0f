"""Designs: many studies from one file, and which of its factors moves which result."""
