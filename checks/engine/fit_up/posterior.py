"""The distribution of the rods as built, given the readings and the job's spreads.

The state of position p is v_p: its reference line, then along and in of every rod from
that line, all as deviations from the plan. A reading is y = h v_p + c z + e, with z the
errors that readings share (one unknown a tape and a day, variance 1) and e its own.
Given the spreads the prior of v_p is normal, with the group's shift, its turn and each
rod's own error as parts, so that everything is linear and normal (Gelman et al.,
*Bayesian Data Analysis*, 3rd ed., 2013, chapter 14)::

    A_p = Q_p^-1 + H'R^-1 H,   v_p | z ~ N(A_p^-1 (b_p - C_p z), A_p^-1)
    z ~ N(V sum(C'R^-1 y - C_p'A_p^-1 b_p), V),
    V^-1 = 1 + sum(C'R^-1 C - C_p'A_p^-1 C_p)

with b_p = H'R^-1 y and C_p = H'R^-1 C. Lengths in mm, turns in rad.
"""

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from checks.engine.arrays import BoolArray, FloatArray, IntArray
from checks.engine.fit_up.problem import FitUpProblem, rotate_quarter
from checks.engine.fit_up.spread_prior import KINDS, SpreadDraws, SpreadItems

MIN_TURN_LEVER_MM2 = 1.0
"""Least sum of squared arms of a group whose turn means something."""

LINE, ALONG, IN, TURN, ROD = range(len(KINDS))


@dataclass(frozen=True, kw_only=True)
class PlaceReadings:
    """Readings that place rods: lines, setbacks, offsets and gages; k of them.

    Attributes
    ----------
    position : (k,) of the problem.
    row : (k, 1 + 2 m) coefficients on the state of that position.
    value : (k,) deviation from the plan. [mm]
    independent : (k,) standard uncertainty of its own. [mm]
    common : (k, n_common) loadings on the common errors. [mm]
    on_wall : (n,) whether a position has a reference line.
    """

    position: IntArray
    row: FloatArray
    value: FloatArray
    independent: FloatArray
    common: FloatArray
    on_wall: BoolArray


@dataclass(frozen=True, kw_only=True)
class PairReadings:
    """Direct lengths between neighbours, r of them: bays and spans.

    Attributes
    ----------
    by_line : (r, n) coefficients of a bay on the two reference lines it joins; 0 for
        the others.
    shift : (n, 2, r) movement along and in of each position by each other length: of
        several movements that give these lengths the smallest; 0 for bays on walls.
    value : (r,) deviation from the plan. [mm]
    independent : (r,) standard uncertainty of its own. [mm]
    common : (r, n_common) loadings on the common errors. [mm]
    """

    by_line: FloatArray
    shift: FloatArray
    value: FloatArray
    independent: FloatArray
    common: FloatArray


class RodPosterior:
    """The readings of one building in normal form, and its posteriors."""

    def __init__(self, problem: FitUpProblem, readings: PlaceReadings) -> None:
        self.problem, self.readings = problem, readings
        n, m = problem.real.shape
        self.width = 1 + 2 * m
        weight = readings.independent**-2.0
        weighted = readings.row * weight[:, None]
        n_common = readings.common.shape[1]
        self.information = np.zeros((n, self.width, self.width))
        np.add.at(
            self.information,
            readings.position,
            weighted[:, :, None] * readings.row[:, None, :],
        )
        self.cross = np.zeros((n, self.width, n_common))
        np.add.at(
            self.cross,
            readings.position,
            weighted[:, :, None] * readings.common[:, None, :],
        )
        self.pull = np.zeros((n, self.width))
        np.add.at(self.pull, readings.position, weighted * readings.value[:, None])
        loaded = readings.common * weight[:, None]
        self.common_information = loaded.T @ readings.common
        self.common_pull = loaded.T @ readings.value

    @cached_property
    def group_columns(self) -> FloatArray:
        """Movement of each rod by its group's shift and turn, (n, 2 m, 3)."""
        problem = self.problem
        n, m = problem.real.shape
        columns = np.zeros((n, m, 2, 3))
        columns[..., 0, 0] = columns[..., 1, 1] = 1.0
        columns[..., 2] = rotate_quarter(problem.holes)
        columns[~problem.real] = 0.0
        return columns.reshape(n, 2 * m, 3)

    @cached_property
    def item_kinds(self) -> IntArray:
        """Index in `KINDS` of the four items of each position, then of each rod."""
        n, m = self.problem.real.shape
        kind = np.tile([LINE, ALONG, IN, TURN], (n, 1))
        # Off the walls no line takes the error along: it is as large as that in.
        kind[~self.readings.on_wall, 1] = IN
        return np.concatenate((kind.ravel(), np.full(n * m, ROD)))

    def list_items(self) -> SpreadItems:
        """List the items whose spread is inferred, from the readings alone.

        A group's shift and turn are its rigid best fit, its rods what is left, each
        over the root of the share that the fit leaves it.
        """
        n, m = self.problem.real.shape
        real = np.repeat(self.problem.real, 2, axis=1)
        flat = self.information[:, 1:, 1:] + np.eye(2 * m) * ~real[:, None, :]
        covariance = np.linalg.pinv(flat)
        estimate = np.einsum("nij,nj->ni", covariance, self.pull[:, 1:])
        fit = np.linalg.pinv(self.group_columns)  # (n, 3, 2 m)
        group = np.einsum("nij,nj->ni", fit, estimate)
        group_noise = np.einsum("nij,njk,nik->ni", fit, covariance, fit)
        rest = np.eye(2 * m) - self.group_columns @ fit
        left = np.einsum("nij,nj->ni", rest, estimate)
        left_noise = np.einsum("nij,njk,nik->ni", rest, covariance, rest)
        share = np.einsum("nii->ni", rest)
        used = real & (share > 0.05)
        share = np.where(used, share, 1.0)
        on_wall = self.readings.on_wall
        line_info = self.information[:, 0, 0]
        line = self.pull[:, 0] / np.where(line_info > 0, line_info, 1.0)
        line_noise = np.full(n, np.inf)
        is_line = self.readings.row[:, 0] != 0.0
        at = self.readings.position[is_line]
        line_noise[at] = self.readings.independent[is_line] ** 2 + (
            self.readings.common[is_line] ** 2
        ).sum(axis=1)
        lever = (self.group_columns[:, :, 2] ** 2).sum(axis=1)
        single = np.concatenate((line[:, None], group), axis=1)
        noise = np.concatenate((line_noise[:, None], group_noise), axis=1)
        there = np.stack(
            (
                on_wall & np.isfinite(line_noise),
                np.ones(n, bool),
                np.ones(n, bool),
                lever > MIN_TURN_LEVER_MM2,
            ),
            axis=1,
        )
        size = (fit**2).sum(axis=2)
        rod_part = np.concatenate((np.zeros((n, 1)), size), axis=1)
        pad = np.zeros_like(single).ravel()
        pairs = (n * m, 2)
        return SpreadItems(
            value=np.concatenate(
                (
                    np.stack((np.where(there, single, 0.0).ravel(), pad), axis=1),
                    np.where(used, left / np.sqrt(share), 0.0).reshape(pairs),
                )
            ),
            noise=np.concatenate(
                (
                    np.stack((np.where(there, noise, 1.0).ravel(), pad), axis=1),
                    np.where(used, left_noise / share, 1.0).reshape(pairs),
                )
            ),
            rod_part=np.concatenate(
                (np.stack((rod_part.ravel(), pad), axis=1), np.zeros(pairs))
            ),
            used=np.concatenate(
                (
                    np.stack((there.ravel(), np.zeros(pad.size, bool)), axis=1),
                    used.reshape(pairs),
                )
            ),
            kind=self.item_kinds,
        )

    def condition(
        self, draws: SpreadDraws, pairs: PairReadings | None = None
    ) -> "ConditionedRods":
        """Return the normal posteriors of all draws of the spreads."""
        n, m = self.problem.real.shape
        k = len(draws.variance)
        groups = draws.variance[:, : 4 * n].reshape(k, n, 4)
        rods = np.repeat(draws.variance[:, 4 * n :].reshape(k, n, m), 2, axis=2)
        prior = np.zeros((k, n, self.width, self.width))
        prior[:, :, 0, 0] = np.where(self.readings.on_wall, groups[..., 0], 1e-12)
        columns = self.group_columns
        prior[:, :, 1:, 1:] = np.einsum(
            "nia,kna,nja->knij", columns, groups[..., 1:], columns, optimize=True
        )
        each = 1 + np.arange(2 * m)
        prior[:, :, each, each] += rods
        covariance = np.linalg.inv(np.linalg.inv(prior) + self.information)
        covariance = (covariance + np.swapaxes(covariance, 2, 3)) / 2.0
        by_common = -covariance @ self.cross  # dv / dz
        mean = np.einsum("knij,nj->kni", covariance, self.pull)
        inverse = (
            np.eye(self.cross.shape[2])
            + self.common_information
            + np.einsum("nia,knib->kab", self.cross, by_common)
        )
        common_covariance = np.linalg.inv(inverse)
        pull = self.common_pull - np.einsum("nia,kni->ka", self.cross, mean)
        common_mean = np.einsum("kab,kb->ka", common_covariance, pull)
        return ConditionedRods(
            mean=mean,
            covariance=np.asarray(covariance, dtype=np.float64),
            by_common=np.asarray(by_common, dtype=np.float64),
            common_mean=common_mean,
            common_covariance=np.asarray(common_covariance, dtype=np.float64),
            pairs=pairs,
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class ConditionedRods:
    """Normal distributions of the states of n positions, one for each of k draws.

    Attributes
    ----------
    mean : (k, n, w) with all common errors zero.
    covariance : (k, n, w, w) given the common errors.
    by_common : (k, n, w, c) change of the mean by each common error.
    common_mean, common_covariance : (k, c), (k, c, c) of the common errors.
    pairs : direct lengths between neighbours, not yet in these distributions.
    """

    mean: FloatArray
    covariance: FloatArray
    by_common: FloatArray
    common_mean: FloatArray
    common_covariance: FloatArray
    pairs: PairReadings | None = None

    def sample(self, size: int, rng: np.random.Generator) -> FloatArray:
        """Draw `size` states from each distribution, (k, size, n, w)."""
        k, n, w = self.mean.shape
        c = self.common_mean.shape[1]
        root = np.linalg.cholesky(self.common_covariance)
        common = self.common_mean[:, None] + np.einsum(
            "kab,ksb->ksa", root, rng.normal(size=(k, size, c))
        )
        own = np.linalg.cholesky(self.covariance)
        noise = rng.normal(size=(k, size, n, w))
        states: FloatArray = np.einsum("knij,ksnj->ksni", own, noise, optimize=True)
        states += self.mean[:, None]
        states += np.einsum("knic,ksc->ksni", self.by_common, common, optimize=True)
        if self.pairs is not None and self.pairs.value.size:
            states += self._move_by_pairs(self.pairs, states, common, rng)
        return states

    def _move_by_pairs(
        self,
        pairs: PairReadings,
        states: FloatArray,
        common: FloatArray,
        rng: np.random.Generator,
    ) -> FloatArray:
        """Return what bays and spans change of sampled states.

        A bay between two lines conditions them: each sample is moved by the gain times
        what it misses of the reading, noise of the reading included (Matheron's rule,
        J. T. Wilson et al., "Pathwise conditioning of Gaussian processes", 2021, 2.2).
        Any other length moves its two ends apart: nothing else measures them.
        """
        noise = common @ pairs.common.T
        noise += pairs.independent * rng.normal(size=noise.shape)
        missed = pairs.value - noise  # (k, s, r)
        bays = pairs.by_line.any(axis=1)
        moved = np.zeros_like(states)
        apart = np.einsum("nir,ksr->ksni", pairs.shift, missed)
        moved[..., 1::2] += apart[..., :1]
        moved[..., 2::2] += apart[..., 1:]
        if bays.any():
            by_line = pairs.by_line[bays]
            gain = self._bay_gain(by_line, pairs.common[bays], pairs.independent[bays])
            lines = np.einsum("rn,ksn->ksr", by_line, states[..., 0])
            moved += np.einsum(
                "knir,ksr->ksni", gain, missed[..., bays] - lines, optimize=True
            )
        return moved

    def _bay_gain(
        self, by_line: FloatArray, common: FloatArray, independent: FloatArray
    ) -> FloatArray:
        """Return the gain (k, n, w, r) of bays on all states."""
        slope = np.einsum("rn,knc->krc", by_line, self.by_common[:, :, 0]) + common
        own = self.covariance[..., 0]  # (k, n, w) with the line
        across = np.einsum("kni,rn->knir", own, by_line) + np.einsum(
            "knic,kcd,krd->knir",
            self.by_common,
            self.common_covariance,
            slope,
            optimize=True,
        )
        within = np.einsum("rn,kn,qn->krq", by_line, own[..., 0], by_line)
        within += slope @ self.common_covariance @ np.swapaxes(slope, 1, 2)
        within += np.diag(independent**2)
        gain = across @ np.linalg.inv(within)[:, None]
        return np.asarray(gain, dtype=np.float64)


def rods_of_states(states: FloatArray) -> FloatArray:
    """Return the rods' deviations from the plan of states (..., n, 1 + 2 m).

    Returns
    -------
    array, shape (..., n, m, 2)
        The reference line's own deviation included. [mm]
    """
    rods: FloatArray = states[..., 1:].reshape(*states.shape[:-1], -1, 2).copy()
    rods[..., 0] += states[..., :1]
    return rods
