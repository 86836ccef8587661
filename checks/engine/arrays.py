"""Array types of the engine, and a product that several modules need."""

import numpy as np
import numpy.typing as npt

FloatArray = npt.NDArray[np.float64]
IntArray = npt.NDArray[np.intp]
BoolArray = npt.NDArray[np.bool_]


def quadratic_forms(rows: FloatArray, matrix: FloatArray) -> FloatArray:
    """Compute the quadratic form r M r' of every row.

    Parameters
    ----------
    rows : array, shape (n, m)
    matrix : array, shape (m, m)

    Returns
    -------
    array, shape (n,)
    """
    forms: FloatArray = ((rows @ matrix) * rows).sum(axis=1)
    return forms
