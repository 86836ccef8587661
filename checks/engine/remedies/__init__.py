"""Remedies: proposals and alternatives where concrete and steel disagree."""
