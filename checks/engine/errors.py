"""Exceptions of the engine.

The message of an `EngineError` is shown to the user: what is wrong, where, and how to
fix it. Any other exception raised by the engine is a fault of the program.
"""


class EngineError(ValueError):
    """Measurements that cannot be assessed; the message says why."""


class DegenerateGeometryError(EngineError):
    """Points that coincide or lie on one line, so that there is no answer."""
