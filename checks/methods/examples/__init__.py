"""Worked examples, one module a family, calculated by the engine."""
