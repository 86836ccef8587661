"""Remedies."""
