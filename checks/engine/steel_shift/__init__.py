"""Steel shift."""
