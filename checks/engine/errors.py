"""What the engine says when measurements cannot be judged.

The message is shown to the user: what is wrong, where, and what would be right.
Any other exception out of the engine is a fault of the program.
"""


class EngineError(ValueError):
    """These measurements cannot be judged; the message says why."""


class DegenerateGeometryError(EngineError):
    """The points coincide or lie so that the figure has no answer."""
