"""Numbers as JSON can carry them."""

import math

import numpy as np
import numpy.typing as npt

from checks.engine.arrays import FloatArray


def to_json_number(value: float | None) -> float | None:
    """Return a plain float; None for anything that is not a finite number."""
    if value is None:
        return None
    number = float(value)
    return number if math.isfinite(number) else None


def to_json_list(values: FloatArray) -> list[float | None]:
    """Return a column of shape (n,) as plain floats, None where not finite."""
    column: npt.NDArray[np.object_] = values.astype(object)
    column[~np.isfinite(values)] = None
    numbers: list[float | None] = column.tolist()
    return numbers
