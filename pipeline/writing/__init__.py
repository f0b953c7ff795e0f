"""Study files in words: the methods of one, and what changed between two."""
