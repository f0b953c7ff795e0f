"""Faults put in by hand, and a program that shows that the quick tests see every one."""
