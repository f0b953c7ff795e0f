"""The study file: its models, its words for an editor, what it starts from."""
