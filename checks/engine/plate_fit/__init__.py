"""Plate fit: base plates over their rods, with proof. See METHOD.md beside this file."""
