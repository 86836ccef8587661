"""Concrete strength: the gate for erection, maturity and its forecast."""
