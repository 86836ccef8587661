"""Computations: arrays in, arrays out; no Django, no clock, no I/O."""
