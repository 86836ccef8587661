"""Best next reading: the one that lowers the chance of a wrong conclusion most.

A conclusion compares a quantity with its limit by the sign of its margin m (limit less
deviation, or the same of any linear quantity). With the standard uncertainty u of that
quantity, and nothing known of the truth but the readings [1]_ ::

    P(wrong now) = Phi(-|m| / u)

A further reading with the variance v in all (what it shares with the state, and its own
r**2) and the covariance s with the quantity takes d**2 = s**2 / v off u**2. The margin
after it is not known yet: it is normally distributed about m with standard deviation d.
The mean of Phi(-|margin| / sqrt(u**2 - d**2)) over it is a bivariate normal
probability, and by Owen's function T [2]_ ::

    P(wrong after) = 2 T(|m| / u, sqrt(u**2 - d**2) / d)

                 m                      d of u removed: the margin moves to the left or
    limit |<----------->| quantity      to the right by about d, and is known to
          |          --------- u        sqrt(u**2 - d**2) then

The values of the readings to come are not needed for their variances, so that a list
is made by choosing the best, updating the variances as if it had been read, and
choosing again. The formula is for one limit: of two, the nearer is taken, which leaves
out a chance that is small where u is small against the distance of the limits. It is
for normally distributed errors without mistakes: contradictory readings come first.

References
----------
.. [1] JCGM 106:2012, *The role of measurement uncertainty in conformity assessment*,
   7.2: the probability of conformance.
.. [2] D. B. Owen, "Tables for computing bivariate normal probabilities", *Annals of
   Mathematical Statistics* 27 (1956), 1075-1090. P(X > 0, Y < 0) of two normal
   variables that differ by noise independent of Y follows from its equation 2.1.
"""

from dataclasses import dataclass
from functools import cached_property

import numpy as np
import numpy.typing as npt

from checks.engine.arrays import FloatArray

FLAT_PRIOR_MM = 100_000.0
"""Standard deviation that stands for a quantity nobody has read. Project choice."""

MAX_MARGIN_RATIO = 4.0
"""|m| / u beyond which a conclusion is certain: wrong in 1 of 30 000. Project choice.
"""

MIN_VARIANCE_SHARE = 0.002
"""Share of u**2 that a reading must remove to count. Project choice."""

NEGLIGIBLE_SHARE = 1e-9
"""Share of u that a reading may remove and still count as removing nothing."""


@dataclass(frozen=True, slots=True, kw_only=True)
class OpenConclusions:
    """Conclusions that further readings may change, n_conclusions of them.

    Attributes
    ----------
    margin : (n_conclusions,) distance from the limit, of either sign; 0 where nothing
        was read. [mm]
    loadings : (n_conclusions, n_errors) on the errors of the state, each of them
        independent and of unit variance. [mm]
    weight : (n_conclusions,) what a wrong one costs against the others. [1]
    """

    margin: FloatArray
    loadings: FloatArray
    weight: FloatArray


@dataclass(frozen=True, slots=True, kw_only=True)
class PossibleReadings:
    """Readings that could be taken next, n_readings of them.

    Attributes
    ----------
    loadings : (n_readings, n_errors) of the difference between the reading and what
        the readings so far predict for it, without its own error. [mm]
    own_variance : (n_readings,) of its own error. [mm²]
    cost : (n_readings,) effort of taking it. [1]
    """

    loadings: FloatArray
    own_variance: FloatArray
    cost: FloatArray


@dataclass(frozen=True)
class LengthTies:
    """Lengths that were read both directly and by two lines, n of them.

    Attributes
    ----------
    loadings : (n, n_errors) of what the two ways may differ by, on errors that are
        independent and of unit variance. [mm]
    difference : (n,) of the two ways as read. [mm]
    """

    loadings: FloatArray
    difference: FloatArray

    @cached_property
    def basis(self) -> FloatArray:
        """Return orthonormal rows that span the loadings, (n, n_errors)."""
        return np.asarray(np.linalg.solve(self._root, self.loadings))

    @cached_property
    def _root(self) -> FloatArray:
        return np.asarray(np.linalg.cholesky(self.loadings @ self.loadings.T))

    @property
    def estimate(self) -> FloatArray:
        """Return the mean of each error, given these differences, (n_errors,). [1]"""
        return np.asarray(self.basis.T @ np.linalg.solve(self._root, self.difference))

    def condition(self, loadings: FloatArray) -> FloatArray:
        """Return loadings (k, n_errors) on what is not known given these differences.

        With orthonormal rows B that span the loadings of the ties the errors have the
        covariance I - B'B then, which is a projection and so its own root.
        """
        if not self.difference.size:
            return loadings
        return np.asarray(loadings - (loadings @ self.basis.T) @ self.basis)


@dataclass(frozen=True, slots=True, kw_only=True)
class ChosenReading:
    """A reading to take next.

    Attributes
    ----------
    reading : index of the reading.
    conclusion : index of the conclusion that gains most from it.
    before, after : chance that this conclusion is wrong, now and then. [1]
    gain : weighted sum over all conclusions of what it takes off that chance. [1]
    """

    reading: int
    conclusion: int
    before: float
    after: float
    gain: float


def wrong_probability(
    margin_mm: npt.ArrayLike, uncertainty_mm: npt.ArrayLike
) -> FloatArray:
    """Compute the chance that a conclusion is wrong: Phi(-|m| / u).

    Parameters
    ----------
    margin_mm : array, shape (n,)
        Distance from the limit, of either sign. [mm]
    uncertainty_mm : array, shape (n,)
        Standard uncertainty; 0: known exactly. [mm]

    Returns
    -------
    array, shape (n,)
        0 where it is known exactly. [1]
    """
    from scipy.special import ndtr

    margin = np.abs(np.asarray(margin_mm, dtype=np.float64))
    u = np.asarray(uncertainty_mm, dtype=np.float64)
    if margin.shape != u.shape:
        margin, u = np.broadcast_arrays(margin, u)
    ratio = np.full(u.shape, np.inf)
    np.divide(margin, u, out=ratio, where=u > 0.0)
    return np.asarray(ndtr(-ratio), dtype=np.float64)


def wrong_probability_after(
    margin_mm: npt.ArrayLike, uncertainty_mm: npt.ArrayLike, removed_mm: npt.ArrayLike
) -> FloatArray:
    """Compute the chance that a conclusion is wrong after a reading: 2 T(|m|/u, a).

    Parameters
    ----------
    margin_mm : array, shape (n,)
        Distance from the limit now, of either sign. [mm]
    uncertainty_mm : array, shape (n,)
        Standard uncertainty now, u; 0: known exactly. [mm]
    removed_mm : array, shape (n,)
        d, the root of what the reading takes off u**2, at most u. [mm]

    Returns
    -------
    array, shape (n,)
        At most the chance now, in the mean over what the reading may be. [1]
    """
    from scipy.special import owens_t

    margin, u, removed = (
        np.abs(np.asarray(x, dtype=np.float64))
        for x in (margin_mm, uncertainty_mm, removed_mm)
    )
    if not margin.shape == u.shape == removed.shape:
        margin, u, removed = np.broadcast_arrays(margin, u, removed)
    left = np.sqrt(np.maximum(u**2 - removed**2, 0.0))
    ratio, share = np.full(u.shape, np.inf), np.full(u.shape, np.inf)
    np.divide(margin, u, out=ratio, where=u > 0.0)
    # Next to nothing is nothing: its quotient would overflow.
    np.divide(left, removed, out=share, where=removed > NEGLIGIBLE_SHARE * u)
    after = np.where(u > 0.0, 2.0 * owens_t(ratio, share), 0.0)
    return np.asarray(after, dtype=np.float64)


def choose_next_readings(
    conclusions: OpenConclusions,
    readings: PossibleReadings,
    *,
    count: int,
    least_gain: float,
) -> list[ChosenReading]:
    """Choose the readings that lower the chance of wrong conclusions most, in order.

    Each choice takes the ones before as read, and no reading is chosen twice. Of equal
    ones the first is taken.

    Parameters
    ----------
    conclusions, readings : what they may change, and what could be read.
    count : int
        Most readings to choose. [1]
    least_gain : float
        Readings that gain less than this, for their cost, are not worth taking. [1]

    Returns
    -------
    list of ChosenReading
        None where nothing is worth it.

    Raises
    ------
    ValueError
        If a cost or a variance of a reading is not positive.
    """
    if np.any(readings.cost <= 0.0) or np.any(readings.own_variance <= 0.0):
        raise ValueError("a reading has no cost, or no error of its own")
    state = _ReadingState(conclusions, readings)
    chosen: list[ChosenReading] = []
    while len(chosen) < min(count, readings.cost.size):
        if chosen:
            state.update(chosen[-1].reading)
        now, removed, gain = state.score()
        gain[[each.reading for each in chosen]] = -np.inf
        pick = int(np.argmax(_round_gain(gain)))
        if gain[pick] < least_gain:
            break
        lowered = conclusions.weight * removed[pick]
        most = int(_round_gain(lowered, 9).argmax())
        chosen.append(
            ChosenReading(
                reading=pick,
                conclusion=most,
                before=float(now[most]),
                after=float(now[most] - removed[pick, most]),
                gain=float(lowered.sum()),
            )
        )
    return chosen


def _round_gain(gain: FloatArray, digits: int = 4) -> FloatArray:
    """Round gains: equal ones then keep the order of the plan, whatever their bits."""
    return np.asarray(np.round(gain, digits))


class _ReadingState:
    """Variances of conclusions and readings, as if the chosen ones had been read.

    Attributes
    ----------
    variance : (n_conclusions,) u**2. [mm²]
    cross : (n_readings, n_conclusions) covariances. [mm²]
    shared : (n_readings, n_readings) covariances of the readings without their own
        errors. [mm²]
    total : (n_readings,) variances of the readings with their own errors. [mm²]
    """

    def __init__(
        self, conclusions: OpenConclusions, readings: PossibleReadings
    ) -> None:
        self.margin, self.weight = conclusions.margin, conclusions.weight
        self.own, self.cost = readings.own_variance, readings.cost
        self.variance: FloatArray = (conclusions.loadings**2).sum(axis=1)
        self.cross: FloatArray = readings.loadings @ conclusions.loadings.T
        self.shared: FloatArray = readings.loadings @ readings.loadings.T
        self.total: FloatArray = np.diagonal(self.shared) + self.own

    def score(self) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Compute what every reading would do.

        Returns
        -------
        now : array, shape (n_conclusions,)
            Chance that each is wrong. [1]
        removed : array, shape (n_readings, n_conclusions)
            What the reading takes off it, without weights. [1]
        gain : array, shape (n_readings,)
            The weighted sum, for the cost of the reading. [1]
        """
        u = np.sqrt(np.maximum(self.variance, 0.0))
        now = wrong_probability(self.margin, u)
        taken = np.minimum(self.cross**2 / self.total[:, None], self.variance)
        # Most pairs have nothing to do with each other, and Owen's T takes long.
        pairs = np.nonzero(
            (taken > MIN_VARIANCE_SHARE * self.variance)
            & (np.abs(self.margin) < MAX_MARGIN_RATIO * u)
        )
        of = pairs[1]
        after = wrong_probability_after(self.margin[of], u[of], np.sqrt(taken[pairs]))
        removed = np.zeros(self.cross.shape)
        removed[pairs] = np.maximum(now[of] - after, 0.0)
        return now, removed, (removed @ self.weight) / self.cost

    def update(self, chosen: int) -> None:
        """Update the variances as if a reading had been taken: a rank-one update."""
        cross, row = self.cross[chosen].copy(), self.shared[chosen].copy()
        total = self.total[chosen]
        self.variance = self.variance - np.minimum(cross**2 / total, self.variance)
        self.cross = self.cross - np.outer(row, cross) / total
        self.shared = self.shared - np.outer(row, row) / total
        self.total = np.diagonal(self.shared) + self.own
