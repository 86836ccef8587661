"""Schema."""
