"""A finished run as one page that opens anywhere: read from files only, no stage is run."""
