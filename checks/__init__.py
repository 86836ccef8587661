"""Readings, verdicts, findings, decisions and releases."""
