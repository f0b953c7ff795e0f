"""Closed-form and published cases, taken through the stages of a study."""
