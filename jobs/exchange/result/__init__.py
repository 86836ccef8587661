"""The result document as typed dictionaries."""
