"""The REST API."""
