"""Input that nobody means well: a mutator, and a program that holds every door against it."""
