"""Numbers that papers report, each with one definition (see `dictionary`)."""
