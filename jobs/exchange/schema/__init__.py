"""What JSON Schemas are generated with."""
