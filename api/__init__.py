"""The REST interface."""
