"""Generation of JSON Schemas."""
