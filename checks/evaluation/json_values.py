"""Numbers as JSON can carry them."""

import math


def number(value: float | None) -> float | None:
    """A plain float, or None for what is not a finite number."""
    if value is None:
        return None
    plain = float(value)
    return plain if math.isfinite(plain) else None
