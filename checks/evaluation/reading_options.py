"""The ways to read a measured check once more, and what each does to its uncertainty.

The state is what all readings show together: where one length was read with two tapes,
or on two days, their difference tells of the errors of all lengths read with them.

A repeat with the same tape renews only what belongs to the single reading; with the
temperature noted it loses the unknown temperature; another tape has a class error of
its own. A pad is read from another set-up of the level.
"""

from dataclasses import dataclass

import numpy as np

from checks.engine.arrays import BoolArray, FloatArray, IntArray
from checks.engine.next_reading import (
    MAX_MARGIN_RATIO,
    wrong_probability,
    wrong_probability_after,
)
from checks.engine.uncertainty import tape_class_limit
from checks.evaluation.check_table import CheckTable
from checks.evaluation.common_errors import CommonErrorKind
from checks.evaluation.reduce_readings import (
    ASSUMED_CLASS,
    CLASS_NUMBER,
    Observations,
)
from core.vocabulary import NextReadingKind
from jobs.anchor_plan.check_keys import LEVEL_KINDS, TAPE_KINDS, CheckKind
from jobs.anchor_plan.values import Plan

REPEAT_KINDS = (
    NextReadingKind.REPEAT,
    NextReadingKind.TEMPERATURE_NOTED,
    NextReadingKind.OTHER_TAPE,
    NextReadingKind.OTHER_SETUP,
)
"""The columns of the arrays below."""

REPEAT_COSTS: FloatArray = np.array([1.0, 1.05, 1.2, 1.2])
"""Effort of each, against a repeat: a second tape or set-up has to be fetched, and must
gain a fifth more to be advised first. Project choice. [1]"""


@dataclass(frozen=True, slots=True, kw_only=True)
class RepeatOptions:
    """Every way to read n measured checks once more. [mm]

    Attributes
    ----------
    rows : (n,) the checks.
    possible : (n, n_kinds) whether the check can be read so.
    independent : (n,) loading of the observation on the check's own error.
    shift : (n,) what all readings together add to the observation.
    observed : (n, n_errors) its loadings on the errors that readings share, as far as
        they are not known: as many as in `Observations.common`, then one for each
        further tape.
    predicted : (n, n_kinds, n_errors) loadings of the difference between the reading
        to come and the observation.
    own_variance : (n,) of the error of a single reading. [mm²]
    tapes : (n,) name of the other tape, "" where the plan has none.
    """

    rows: IntArray
    possible: BoolArray
    independent: FloatArray
    shift: FloatArray
    observed: FloatArray
    predicted: FloatArray
    own_variance: FloatArray
    tapes: tuple[str, ...]

    @property
    def uncertainty(self) -> FloatArray:
        """Return the standard uncertainty of each observation, (n,). [mm]"""
        squares = self.independent**2 + (self.observed**2).sum(axis=1)
        return np.asarray(np.sqrt(squares))

    def compute_removed(self) -> FloatArray:
        """Compute the root of what each reading takes off u**2, (n, n_kinds). [mm]"""
        own = self.independent[:, None] ** 2
        shared = np.einsum("ie,ike->ik", self.observed, self.predicted)
        total = (self.predicted**2).sum(axis=2) + own + self.own_variance[:, None]
        removed = np.abs(own + shared) / np.sqrt(total)
        return np.asarray(np.where(self.possible, removed, 0.0))

    def compute_chances(self, margin: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Compute the chance of a wrong verdict now (n,) and after (n, n_kinds).

        Parameters
        ----------
        margin : array, shape (n,)
            Distance of each observation from its limit. [mm]
        """
        u = self.uncertainty
        now = wrong_probability(margin, u)
        after = np.repeat(now[:, None], len(REPEAT_KINDS), axis=1)
        # Most verdicts are certain, and Owen's T takes long.
        open_ones = np.abs(margin) < MAX_MARGIN_RATIO * u
        removed = np.minimum(self.compute_removed(), u[:, None])[open_ones]
        computed = wrong_probability_after(
            margin[open_ones, None], u[open_ones, None], removed
        )
        after[open_ones] = np.minimum(computed, now[open_ones, None])
        return now, after


def build_repeat_options(
    plan: Plan,
    table: CheckTable,
    observations: Observations,
    sigma: FloatArray,
    rows: IntArray,
) -> RepeatOptions:
    """Build the ways to read some checks once more.

    Parameters
    ----------
    plan : for its tapes.
    table, observations : the checks and what was read.
    sigma : array, shape (n_checks,)
        Standard uncertainty of each observed value, of heights for levels. [mm]
    rows : array of int, shape (n,)
        Checks that were measured, in any order.
    """
    kinds = [table.checks[row].kind for row in rows]
    level = np.array([kind in LEVEL_KINDS for kind in kinds], dtype=bool)
    taped = np.array([kind in TAPE_KINDS for kind in kinds], dtype=bool)
    independent = np.where(level, sigma[rows], observations.independent[rows])
    observed, predicted, tapes = _build_loadings(plan, observations, rows)
    estimate = observations.common_estimate
    n_common = len(observations.common_errors)
    possible = np.zeros((len(rows), len(REPEAT_KINDS)), dtype=bool)
    possible[:, 0] = ~level
    possible[:, 1] = taped & predicted[:, 1].any(axis=1)
    possible[:, 2] = taped
    possible[:, 3] = level & (np.array(kinds) != CheckKind.BENCHMARK)
    # A mean of n readings has a variance n times smaller than one of them.
    count = np.where(level, 1, np.maximum(observations.contributing[rows], 1))
    return RepeatOptions(
        rows=rows,
        possible=possible,
        independent=independent,
        shift=-(observed[:, :n_common] @ estimate.mean),
        observed=_mix_errors(observed, estimate.root),
        predicted=_mix_errors(predicted, estimate.root),
        own_variance=count * independent**2,
        tapes=tapes,
    )


def list_tapes(plan: Plan) -> list[tuple[str, int]]:
    """List name and class of the tapes of a plan, the best first, then an unnamed one.

    The last stands for a tape that has to be fetched, of the usual class.
    """
    tapes = [
        (each.name, CLASS_NUMBER[each.accuracy_class or ASSUMED_CLASS])
        for each in plan.instruments.values()
        if each.accuracy_class is not None or "tape" in each.kind.lower()
    ]
    tapes.sort(key=lambda tape: tape[1])
    return [*tapes, ("", CLASS_NUMBER[ASSUMED_CLASS])]


def _mix_errors(loadings: FloatArray, root: FloatArray) -> FloatArray:
    """Write loadings on the common errors as loadings on what is not known of them."""
    mixed = loadings.copy()
    mixed[..., : len(root)] = loadings[..., : len(root)] @ root
    return mixed


def _build_loadings(
    plan: Plan, observations: Observations, rows: IntArray
) -> tuple[FloatArray, FloatArray, tuple[str, ...]]:
    """Build the members `observed`, `predicted` and `tapes` of `RepeatOptions`."""
    errors = observations.common_errors
    is_day = np.array([error.kind is CommonErrorKind.DAY for error in errors], bool)
    known = {
        error.name: column
        for column, error in enumerate(errors)
        if error.kind is CommonErrorKind.TAPE and error.name
    }
    tapes = list_tapes(plan)
    columns, n_errors = [], len(errors)
    for name, _ in tapes:
        columns.append(known.get(name, n_errors))
        n_errors += name not in known
    observed = np.zeros((len(rows), n_errors))
    observed[:, : len(errors)] = observations.common[rows]
    # The last tape is new to every check, so there is always one that was not used.
    other = (observed[:, columns] != 0.0).argmin(axis=1)
    by_day = np.zeros(n_errors, dtype=bool)
    by_day[: len(errors)] = is_day
    predicted = np.zeros((len(rows), len(REPEAT_KINDS), n_errors))
    predicted[:, 1] = np.where(by_day, observed, 0.0)
    predicted[:, 2] = observed
    # A line read from the far corner has loadings of the other sign.
    sign = np.where(observed[:, ~by_day].sum(axis=1) < 0.0, -1.0, 1.0)
    classes = np.array([number for _, number in tapes])[other]
    size = tape_class_limit(np.nan_to_num(observations.value[rows]), classes)
    predicted[np.arange(len(rows)), 2, np.array(columns)[other]] -= (
        sign * size / np.sqrt(3.0)
    )
    return observed, predicted, tuple(tapes[i][0] for i in other.tolist())
