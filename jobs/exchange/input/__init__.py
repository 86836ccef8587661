"""Input."""
