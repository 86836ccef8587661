"""The result document as typed dictionaries; no Django."""
