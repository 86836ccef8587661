"""Levelling: heights from grade-rod readings, level networks and shim stacks."""
