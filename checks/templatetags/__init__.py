"""Template tags of the pages of checks."""
