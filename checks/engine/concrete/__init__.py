"""Concrete."""
