"""Kills small runs at random moments, and looks whether their tables come out the same all the same."""
