"""Points of a survey: import, and matching to a plan."""
