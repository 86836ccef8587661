"""Audit log of a job: who saw and did what (query, sources, text)."""
