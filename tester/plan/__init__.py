"""Plan files: models, checks, conditions, edits to expectation. Pure."""
