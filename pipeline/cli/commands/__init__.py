"""A module for each command, with the function of its name; `pipeline.cli.application` lists them."""
