"""Points of a survey: read from their file and matched to a plan; no Django."""
