"""The readings to take next: what to measure so that fewest conclusions are wrong.

Conclusions are the verdict of every check, the difference of the diagonals and, where
it is computed, the fit-up. Readings that could be taken are each measured check once
more, required checks that nobody has read, and the bays and spans that tell whether
columns stand at their distance. One length read with another tape tells of every length
that the first tape has read: the chances count what all readings together say.

Contradictory readings and suspects are not in the formula, which knows no mistakes:
they are to be measured again before anything on this list.
"""

from dataclasses import dataclass
from itertools import combinations

import numpy as np

from checks.engine.arrays import BoolArray, FloatArray, IntArray
from checks.engine.conformity import COVERAGE_FACTOR
from checks.engine.next_reading import (
    FLAT_PRIOR_MM,
    ChosenReading,
    LengthTies,
    OpenConclusions,
    PossibleReadings,
    choose_next_readings,
)
from checks.engine.uncertainty import reading_uncertainty
from checks.evaluation.building_evaluation import BuildingEvaluation
from checks.evaluation.failing_checks import capitalize_first
from checks.evaluation.misfit_slope import compute_misfit_slope
from checks.evaluation.neighbour_options import (
    find_neighbour_options,
    list_read_bays,
)
from checks.evaluation.reading_options import REPEAT_COSTS, REPEAT_KINDS
from checks.evaluation.second_readings import WORTHWHILE_GAIN, describe_reading
from core.formatting import format_probability
from core.vocabulary import NextReadingKind, StageKind, Verdict
from jobs.anchor_plan.check_keys import CheckKind
from jobs.anchor_plan.planned_checks import Check
from jobs.exchange.result.next_readings import NextReadingResult

MAX_NEXT_READINGS = 5
"""Readings that are listed: more than a crew takes before it looks again."""

MAX_CONSIDERED = 20
"""Readings that the list is chosen from, of either kind. Project choice."""

SHARED_KINDS: FloatArray = np.array(
    [
        kind in (NextReadingKind.TEMPERATURE_NOTED, NextReadingKind.OTHER_TAPE)
        for kind in REPEAT_KINDS
    ],
    dtype=float,
)
"""1 for the kinds of reading that tell of what several lengths have in common."""

MIN_CONSIDERED_GAIN = WORTHWHILE_GAIN / 5.0
"""Least gain of a reading by itself for it to be considered. Project choice."""

RESOLUTION_MM = 25.4 / 16.0
"""Resolution of a reading that nobody has taken yet: a sixteenth of an inch. [mm]"""

SQUARENESS, FIT_UP = "squareness", "fit_up"
"""Conclusions on the difference of the diagonals and on fit-up, beside keys of checks.
"""

FIT_UP_WEIGHT = 5.0
"""Cost of a wrong conclusion on fit-up, in wrong verdicts. Project choice."""

CONCLUSION_LABELS = {
    SQUARENESS: "the verdict on the difference of the diagonals",
    FIT_UP: "the conclusion on fit-up",
}

DIRECT_MANNERS = {
    CheckKind.BAY: "directly, line to line",
    CheckKind.SPAN: "directly across the frame",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class NextReading:
    """A reading to take next.

    Attributes
    ----------
    check : the check to read.
    instrument : name of the tape to take, "" for none in particular.
    conclusion : key of the check whose verdict gains most, `SQUARENESS` or `FIT_UP`.
    conclusion_name : the same for a sentence.
    before, after : chance that this conclusion is wrong, now and then. [1]
    gain : sum over all conclusions. [1]
    """

    check: Check
    kind: NextReadingKind
    instrument: str
    conclusion: str
    conclusion_name: str
    before: float
    after: float
    gain: float

    @property
    def reason(self) -> str:
        """Reason to take it, as a sentence."""
        if self.kind is NextReadingKind.UNREAD:
            return f"{capitalize_first(self.check.description)} is not measured yet."
        before, after = (format_probability(p) for p in (self.before, self.after))
        manner = describe_reading(self.kind, self.instrument)
        if self.kind is NextReadingKind.DIRECT:
            manner = DIRECT_MANNERS[self.check.kind]
        return (
            f"{capitalize_first(self.check.description)} read {manner}: the chance"
            f" that {self.conclusion_name}"
            f" is wrong falls from {before} to {after}."
        )

    def as_result(self) -> NextReadingResult:
        """Return an entry of the result document's `next_readings`."""
        return {
            "check": self.check.key,
            "kind": self.kind.value,
            "instrument": self.instrument or None,
            "conclusion": self.conclusion,
            "before": self.before,
            "after": self.after,
            "gain": self.gain,
            "reason": self.reason,
        }


def find_next_readings(evaluation: BuildingEvaluation) -> tuple[NextReading, ...]:
    """Find the readings that lower the chance of wrong conclusions most.

    At most `MAX_NEXT_READINGS`, in the order to take them, each with the ones before
    it taken; none where nothing would gain `WORTHWHILE_GAIN`.
    """
    problem = _ReadingProblem(evaluation)
    chosen = choose_next_readings(
        problem.conclusions(),
        problem.readings(),
        count=MAX_NEXT_READINGS,
        least_gain=WORTHWHILE_GAIN,
    )
    return tuple(problem.describe(each) for each in chosen)


class _ReadingProblem:
    """The conclusions of one building and the readings that may change them.

    The errors of the state are the common ones, then one for each check that a reading,
    a bay or the misfit tells of, one that stands for those of all other checks, one for
    each check that nobody has read, and one for each neighbour option. Bays that were
    read tie the errors of three readings together: the state is what is left of them.

    Attributes
    ----------
    open : (n_open,) rows of the options whose verdict may be wrong.
    pair : (2,) rows of the options of the two diagonals that differ most, or empty.
    slope : (n_options,) derivative of the misfit by each check; 0 without a fit-up.
    repeats : (n_repeats, 2) rows of the options, and columns of `REPEAT_KINDS`.
    unread : (n_unread,) rows of the check table.
    neighbours : bays and spans that could be read directly.
    bays : (n_bays, 3) rows of the options of bays that were read, and their two lines.
    column : (n_options,) error of each row of the options.
    """

    def __init__(self, evaluation: BuildingEvaluation) -> None:
        self.evaluation, self.chances = evaluation, evaluation.chances
        self.options = evaluation.chances.options
        self.pair, self.pair_margin = _worst_diagonals(evaluation)
        doubtful = _find_doubtful(evaluation)[self.options.rows]
        if doubtful[self.pair].any():
            self.pair = self.pair[:0]
        slope = compute_misfit_slope(evaluation)
        self.slope = slope.by_check[self.options.rows] * ~doubtful
        self.neighbours = find_neighbour_options(
            evaluation, slope, ~doubtful, RESOLUTION_MM, most=MAX_CONSIDERED
        )
        self.bays = list_read_bays(evaluation, ~doubtful)
        self.open = np.flatnonzero(
            (self.chances.before > MIN_CONSIDERED_GAIN) & ~doubtful
        )
        self.repeats = self._shortlist_repeats(doubtful)
        self.unread = _list_unread(evaluation)[:MAX_NEXT_READINGS]
        lines = self.neighbours.lines[self.neighbours.has_lines]
        parts = (
            self.pair,
            self.repeats[:, 0],
            np.flatnonzero(self.slope),
            lines.ravel(),
            self.bays.ravel(),
        )
        involved = np.unique(np.concatenate(parts))
        n_common = self.options.observed.shape[1]
        # No reading tells of the own errors of the others: each counts in one verdict
        # alone, so that they can share a column, and the arrays stay narrow.
        others = n_common + involved.size
        self.column = np.full(len(self.options.rows), others)
        self.column[involved] = n_common + np.arange(involved.size)
        self.first_unread = others + 1
        self.first_neighbour = self.first_unread + self.unread.size
        self.n_errors = self.first_neighbour + len(self.neighbours)
        self.ties = self._tie_readings()

    def _shortlist_repeats(self, doubtful: BoolArray) -> IntArray:
        """Return the repeats that may gain most, (n_repeats, 2).

        Those that gain most for their own verdict, and of what all lengths have in
        common those of the longest, which tell most of it.
        """
        own = (self.chances.before[:, None] - self.chances.after) / REPEAT_COSTS
        shared = np.linalg.norm(self.options.observed, axis=1)[:, None] * SHARED_KINDS
        # A diagonal decides on the difference too, where its own verdict is certain.
        own[self.pair] += 1.0
        moved = np.abs(self.slope)
        # A bay that was read tells of its two lines, and they of it.
        bay, *lines = self.bays.T
        moved[bay] = np.maximum(
            moved[bay], np.max([moved[each] for each in lines], axis=0)
        )
        for each in lines:
            own[each, 0] += self.chances.before[bay]
        moved *= self.options.uncertainty
        fit_up = np.repeat(moved[:, None], own.shape[1], axis=1)
        chosen = np.zeros(own.shape, dtype=bool)
        usable = self.options.possible & ~doubtful[:, None]
        for score in (own, shared, fit_up):
            considered = np.flatnonzero(usable & (score > MIN_CONSIDERED_GAIN))
            order = np.argsort(-score.flat[considered], kind="stable")
            chosen.flat[considered[order[:MAX_CONSIDERED]]] = True
        return np.argwhere(chosen)

    def conclusions(self) -> OpenConclusions:
        """Build the conclusions: verdicts, also of unread checks, and squareness."""
        n_open, n_unread = self.open.size, self.unread.size
        loadings = np.zeros((n_open + n_unread, self.n_errors))
        loadings[:n_open] = self._observation_loadings(self.open)
        loadings[n_open + np.arange(n_unread), self._unread_columns()] = FLAT_PRIOR_MM
        margin = np.concatenate([self._open_margins(), np.zeros(n_unread)])
        if self.pair.size:
            first, second = self._observation_loadings(self.pair)
            loadings = np.vstack([loadings, second - first])
            margin = np.append(margin, self._guard(self.pair_margin, second - first))
        weight = np.ones(margin.size)
        moving = np.flatnonzero(self.slope)
        if (
            moving.size or self.neighbours.slope.any()
        ) and self.evaluation.fit_up is not None:
            misfit = self.slope[moving] @ self._observation_loadings(moving)
            misfit += self.neighbours.slope @ self._neighbour_loadings()
            loadings = np.vstack([loadings, misfit])
            margin = np.append(margin, -self.evaluation.fit_up.best.misfit)
            weight = np.append(weight, FIT_UP_WEIGHT)
        return OpenConclusions(
            margin=margin, loadings=self.ties.condition(loadings), weight=weight
        )

    def _tie_readings(self) -> LengthTies:
        """Return what the bays that were read say of errors, beside their lines."""
        bay, first, second = self.bays.T
        loadings = self._observation_loadings(second) - self._observation_loadings(
            first
        )
        loadings -= self._observation_loadings(bay)
        best = self.evaluation.deviation[self.options.rows] + self.options.shift
        return LengthTies(loadings, best[second] - best[first] - best[bay])

    def _open_margins(self) -> FloatArray:
        """Return the margin of each open verdict, bays that were read included. [mm]"""
        if not self.bays.size:
            return np.asarray(self.chances.margin[self.open])
        rows, bounds = self.options.rows[self.open], self.evaluation.bounds
        best = self.evaluation.deviation[rows] + self.options.shift[self.open]
        best -= self._observation_loadings(self.open) @ self.ties.estimate
        margin = np.minimum(bounds.upper[rows] - best, best - bounds.lower[rows])
        if self.evaluation.limits.guarded:
            margin -= COVERAGE_FACTOR * self.evaluation.sigma[rows]
        return np.asarray(margin)

    def _guard(self, margin: float, loading: FloatArray) -> float:
        """Shift a margin by the guard band, where the basis has one."""
        if not self.evaluation.limits.guarded:
            return margin
        return margin - COVERAGE_FACTOR * float(np.linalg.norm(loading))

    def _observation_loadings(self, rows: IntArray) -> FloatArray:
        """Return the loadings (k, n_errors) of some observations."""
        loadings: FloatArray = np.zeros((rows.size, self.n_errors))
        loadings[:, : self.options.observed.shape[1]] = self.options.observed[rows]
        own = self.options.independent[rows]
        loadings[np.arange(rows.size), self.column[rows]] = own
        return loadings

    def _neighbour_loadings(self) -> FloatArray:
        """Return the loadings of what is known of the neighbour options' lengths."""
        options = self.neighbours
        loadings = np.zeros((len(options), self.n_errors))
        loadings[:, : options.known.shape[1]] = options.known
        own = self.first_neighbour + np.arange(len(options))
        loadings[np.arange(len(options)), own] = options.unknown
        first, second = options.lines[options.has_lines].T
        loadings[options.has_lines] += self._observation_loadings(second)
        loadings[options.has_lines] -= self._observation_loadings(first)
        return loadings

    def _unread_columns(self) -> IntArray:
        return np.arange(self.first_unread, self.first_neighbour)

    def readings(self) -> PossibleReadings:
        """Build the readings: repeats, what nobody has read, then bays and spans."""
        row, kind = self.repeats.T
        n_repeats, n_unread = row.size, self.unread.size
        loadings = np.zeros((n_repeats + n_unread, self.n_errors))
        n_common = self.options.observed.shape[1]
        loadings[:n_repeats, :n_common] = self.options.predicted[row, kind]
        loadings[np.arange(n_repeats), self.column[row]] = self.options.independent[row]
        loadings[n_repeats + np.arange(n_unread), self._unread_columns()] = (
            FLAT_PRIOR_MM
        )
        direct = self._neighbour_loadings()
        direct[:, :n_common] -= self.neighbours.reading
        own_variance = (
            self.options.own_variance[row],
            self._unread_variance(),
            self.neighbours.own_variance,
        )
        ones = np.ones(n_unread + len(self.neighbours))
        return PossibleReadings(
            loadings=self.ties.condition(np.concatenate([loadings, direct])),
            own_variance=np.concatenate(own_variance),
            cost=np.concatenate([REPEAT_COSTS[kind], ones]),
        )

    def _unread_variance(self) -> FloatArray:
        """Return the variance of a first reading, (n_unread,). [mm²]"""
        if not self.unread.size:
            return np.empty(0)
        length = np.nan_to_num(self.evaluation.table.nominal[self.unread])
        return np.asarray(reading_uncertainty(length, RESOLUTION_MM).combined_mm ** 2)

    def describe(self, chosen: ChosenReading) -> NextReading:
        """Name a reading and the conclusion that it settles."""
        table, n_repeats = self.evaluation.table, len(self.repeats)
        instrument, beyond = "", chosen.reading - n_repeats
        if beyond >= self.unread.size:
            check = self.neighbours.checks[beyond - self.unread.size]
            kind = NextReadingKind.DIRECT
        elif beyond >= 0:
            check, kind = table.checks[self.unread[beyond]], NextReadingKind.UNREAD
        else:
            i, column = self.repeats[chosen.reading].tolist()
            check, kind = table.checks[self.options.rows[i]], REPEAT_KINDS[column]
            instrument = self.chances.instrument(i, kind)
        conclusion, conclusion_name = self._name_conclusion(chosen.conclusion, check)
        return NextReading(
            check=check,
            kind=kind,
            instrument=instrument,
            conclusion=conclusion,
            conclusion_name=conclusion_name,
            before=chosen.before,
            after=chosen.after,
            gain=chosen.gain,
        )

    def _name_conclusion(self, conclusion: int, check: Check) -> tuple[str, str]:
        """Return key and name of a conclusion, beside a reading of this check."""
        rows = np.concatenate([self.options.rows[self.open], self.unread])
        if conclusion < rows.size:
            concerned = self.evaluation.table.checks[rows[conclusion]]
            if concerned.key == check.key:
                return concerned.key, "the verdict"
            return concerned.key, f"the verdict on {concerned.description}"
        squareness = conclusion == rows.size and self.pair.size > 0
        key = SQUARENESS if squareness else FIT_UP
        return key, CONCLUSION_LABELS[key]


def _find_doubtful(evaluation: BuildingEvaluation) -> BoolArray:
    """Return where a reading is suspect or a mistake is likely, (n_checks,)."""
    doubtful = np.zeros(len(evaluation.table), dtype=bool)
    suspects = [each.check for each in evaluation.squareness.suspect_lengths]
    for key in (*suspects, *evaluation.cause_index):
        doubtful[evaluation.table.index[key]] = True
    doubtful[evaluation.as_built.contradicted] = True
    return doubtful


def _list_unread(evaluation: BuildingEvaluation) -> IntArray:
    """Return the required checks that nobody has read, of the stages that have begun.

    The foundation's always have; a later stage's once something of it was read.
    """
    checks, count = evaluation.table.checks, evaluation.observations.count
    begun = {checks[row].stage for row in np.flatnonzero(count > 0)}
    begun.add(StageKind.FOUNDATION)
    unread = [
        row
        for row in np.flatnonzero(count == 0).tolist()
        if checks[row].required and checks[row].stage in begun
    ]
    return np.array(unread, dtype=int)


def _worst_diagonals(evaluation: BuildingEvaluation) -> tuple[IntArray, float]:
    """Find the two diagonals whose difference decides on squareness, and its margin.

    Returns
    -------
    Rows of the options, none where there is no such verdict, and limit less difference.
    [mm]
    """
    square, table = evaluation.squareness, evaluation.table
    none: IntArray = np.zeros(0, dtype=int)
    if square.verdict not in (Verdict.WITHIN, Verdict.OUTSIDE):
        return none, 0.0
    rows = evaluation.chances.options.rows
    places = np.flatnonzero(np.isin(rows, table.rows(CheckKind.DIAGONAL)))
    best = evaluation.deviation[rows] + evaluation.chances.options.shift
    worst, margin = none, np.inf
    for first, second in combinations(places.tolist(), 2):
        pair = np.array([first, second])
        difference = float(np.abs(np.diff(best[pair]))[0])
        limit = float(
            evaluation.limits.diagonal_difference(table.nominal[rows[pair]][None])[0]
        )
        if limit - difference < margin:
            worst, margin = pair, limit - difference
    return worst, margin
