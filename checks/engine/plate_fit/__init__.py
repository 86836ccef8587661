"""Plate fit: base plates over their rods, with proof; METHOD.md explains it."""
