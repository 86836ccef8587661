"""JSON Schemas of the documents, generated from their definitions."""
