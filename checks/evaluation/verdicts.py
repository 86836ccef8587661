"""Arrays of verdicts."""

import numpy as np
import numpy.typing as npt

from checks.engine.arrays import BoolArray
from core.vocabulary import Verdict

VerdictArray = npt.NDArray[np.object_]
"""Values of `Verdict`: NumPy stores a string enumeration as plain strings."""

FAILING_VERDICTS = (Verdict.OUTSIDE, Verdict.REMEASURE)
"""The verdicts that open a finding."""


def fill_verdicts(within: BoolArray) -> VerdictArray:
    """Return an array with `within` where true and `outside` elsewhere."""
    return np.where(within, Verdict.WITHIN.value, Verdict.OUTSIDE.value).astype(object)


def find_failing(verdicts: npt.ArrayLike) -> BoolArray:
    """Return where a verdict is one of `FAILING_VERDICTS`, in the shape given."""
    # Two comparisons beat `np.isin`, which sorts an array of objects.
    array = np.asarray(verdicts, dtype=object)
    failing: BoolArray = (array == Verdict.OUTSIDE) | (array == Verdict.REMEASURE)
    return failing
