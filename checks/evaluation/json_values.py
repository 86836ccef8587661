"""Numbers as JSON can carry them."""

import math
from typing import Any

import numpy as np

from checks.engine.arrays import FloatArray


def to_json_number(value: float | None) -> float | None:
    """A plain float, or None for what is not a finite number."""
    if value is None:
        return None
    plain = float(value)
    return plain if math.isfinite(plain) else None


def to_json_list(values: FloatArray) -> list[Any]:
    """An array as lists of plain floats, None for what is not a finite number."""
    column = values.astype(object)
    column[~np.isfinite(values)] = None
    out: list[Any] = column.tolist()
    return out
