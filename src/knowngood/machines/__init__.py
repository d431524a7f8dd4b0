"""Machine files: what the bench knows of a machine (pure), read from text and checked."""
