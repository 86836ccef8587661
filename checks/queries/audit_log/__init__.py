"""Audit log."""
