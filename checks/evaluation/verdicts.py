"""Arrays of verdicts."""

import numpy as np
import numpy.typing as npt

from checks.engine.arrays import BoolArray
from core.vocabulary import Verdict

VerdictArray = npt.NDArray[np.object_]
"""Members of `Verdict`; NumPy has no type of its own for an enumeration."""

FAILING_VERDICTS = (Verdict.OUTSIDE, Verdict.REMEASURE)
"""The verdicts that open a finding."""


def fill_verdicts(within: BoolArray) -> VerdictArray:
    """Return an array with `within` where true and `outside` elsewhere."""
    verdicts = np.full(within.shape, Verdict.OUTSIDE, dtype=object)
    verdicts[within] = Verdict.WITHIN
    return verdicts


def find_failing(verdicts: npt.ArrayLike) -> BoolArray:
    """Return where a verdict is one of `FAILING_VERDICTS`, in the shape given."""
    array = np.asarray(verdicts, dtype=object)
    failing: BoolArray = (array == Verdict.OUTSIDE) | (array == Verdict.REMEASURE)
    return failing
