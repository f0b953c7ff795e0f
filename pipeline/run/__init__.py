"""From a study to finished cases and tables."""
