"""The exchange document: one parser, one writer, one schema; no Django."""
