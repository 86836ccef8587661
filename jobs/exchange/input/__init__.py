"""The building document: its format and its parser."""
