"""Tolerance bases, one data file each, a source beside every value."""
