"""Bays and spans that could be read directly, and those that were read.

A bay on a wall joins two reference lines. Read from one line to the other it has the
tape's errors of its own short length, where the difference of the two lines has those
of both::

    |-------------------S2                      error of line S2
    |-----------------------------------------S3      error of line S3
                        |----- bay S2 to S3 ----|     its own, and no more

A span, and a bay between point positions, is measured by nothing that places the rods:
fit-up takes the planned length. How far the truth may be from it is what the outline
says of a span between walls; where nothing says it, `UNKNOWN_LENGTH_MM`.
"""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from checks.engine.arrays import BoolArray, FloatArray, IntArray
from checks.engine.uncertainty import reading_uncertainty
from checks.evaluation.building_evaluation import BuildingEvaluation
from checks.evaluation.common_errors import CommonErrorKind
from checks.evaluation.misfit_slope import MIN_SLOPE, MisfitSlope
from checks.evaluation.neighbour_lengths import predict_span
from checks.evaluation.reading_options import list_tapes
from checks.evaluation.reduce_readings import ASSUMED_CLASS, CLASS_NUMBER
from core.vocabulary import Verdict
from jobs.anchor_plan.check_keys import CheckKey, CheckKind
from jobs.anchor_plan.check_sheet import UnknownCheckError, find_check
from jobs.anchor_plan.neighbours import NeighbourPair, find_bays, find_spans
from jobs.anchor_plan.planned_checks import Check

UNKNOWN_LENGTH_MM = 25.4 / 16.0
"""Standard deviation of a length that nothing measures: half of 1/8 in, as if nearly
all were within the limit of a bay. Project choice. [mm]"""


@dataclass(frozen=True, slots=True, kw_only=True)
class NeighbourOptions:
    """The n bays and spans that nobody has read and that decide on fit-up. [mm]

    Attributes
    ----------
    checks : as planned.
    lines : (n, 2) rows of `RepeatOptions` of the two reference lines that a bay joins;
        -1 for the others.
    slope : (n,) derivative of the misfit by the length itself; 0 for those with lines,
        whose lines have it. [1]
    known : (n, n_errors) loadings on shared errors of what is known of the length; 0
        for those with lines.
    unknown : (n,) standard deviation of the length beside that; 0 for those with lines.
    reading : (n, n_errors) loadings on shared errors of the reading to come.
    own_variance : (n,) of its own error. [mm²]
    """

    checks: tuple[Check, ...]
    lines: IntArray
    slope: FloatArray
    known: FloatArray
    unknown: FloatArray
    reading: FloatArray
    own_variance: FloatArray

    def __len__(self) -> int:
        return len(self.checks)

    @property
    def has_lines(self) -> BoolArray:
        """Return which join two reference lines, (n,)."""
        return np.asarray(self.lines[:, 0] >= 0)


def find_neighbour_options(
    evaluation: BuildingEvaluation,
    slope: MisfitSlope,
    usable: BoolArray,
    resolution_mm: float,
    *,
    most: int,
) -> NeighbourOptions:
    """Find the bays and spans whose reading may settle fit-up, in the plan's order.

    Parameters
    ----------
    evaluation : one whose fit-up is a conclusion; otherwise there are none.
    slope : of its misfit.
    usable : array, shape (n_options,)
        Rows of its `RepeatOptions` that count.
    resolution_mm : of a reading that nobody has taken yet.
    most : bays and spans, those that matter most.
    """
    row_of = _rows_of_lines(evaluation, usable)
    found = list(_list_candidates(evaluation, slope, row_of))
    weight = np.array([each.weight for each in found])
    kept = np.sort(np.argsort(-weight, kind="stable")[:most])
    chosen = [found[i] for i in kept.tolist()]
    lines = np.array([each.lines for each in chosen], dtype=int).reshape(-1, 2)
    joins = lines[:, 0] >= 0
    length = np.array([each.pair.nominal_mm for each in chosen])
    reading, own_variance = _build_readings(evaluation, lines, length, resolution_mm)
    known = np.where(joins[:, None], 0.0, reading)
    unknown = np.zeros(len(chosen))
    for i in np.flatnonzero(~joins).tolist():
        sigma = _length_sigma(evaluation, chosen[i])
        if sigma is None:
            known[i], unknown[i] = 0.0, UNKNOWN_LENGTH_MM
            continue
        # What the tape has in common with the walls cancels; handling never does.
        apart = sigma**2 - float(known[i] @ known[i])
        unknown[i] = np.sqrt(max(apart, own_variance[i]))
    return NeighbourOptions(
        checks=tuple(each.check for each in chosen),
        lines=lines,
        slope=np.array([each.slope for each in chosen]),
        known=known,
        unknown=unknown,
        reading=reading,
        own_variance=own_variance,
    )


def list_read_bays(evaluation: BuildingEvaluation, usable: BoolArray) -> IntArray:
    """List the bays between two lines that were all read, as rows of the options.

    Those that their lines contradict are left out: one of the three is wrong.

    Returns
    -------
    array of int, shape (k, 3)
        The bay, its first line, its second line.
    """
    table, options = evaluation.table, evaluation.chances.options
    place = np.full(len(table), -1)
    place[options.rows[usable]] = np.flatnonzero(usable)
    lengths, found = evaluation.neighbour_lengths, []
    for row in lengths.rows[~lengths.contradicts].tolist():
        check = table.checks[row]
        if check.kind is not CheckKind.BAY or place[row] < 0:
            continue
        keys = [CheckKey.for_position(CheckKind.LINE, mark) for mark in check.marks]
        lines = [place[table.index[key]] for key in keys if key in table.index]
        if len(lines) == len(keys) and min(lines) >= 0:
            found.append([place[row], *lines])
    return np.array(found, dtype=int).reshape(-1, 3)


@dataclass(frozen=True, slots=True)
class _Candidate:
    """A bay or span that could be read; `weight` ranks it among the others."""

    check: Check
    pair: NeighbourPair
    lines: tuple[int, int]
    slope: float
    weight: float


def _rows_of_lines(evaluation: BuildingEvaluation, usable: BoolArray) -> IntArray:
    """Return the row of the options of each position's line, -1 for none."""
    table, options = evaluation.table, evaluation.chances.options
    is_line = np.zeros(len(table), dtype=bool)
    is_line[table.rows(CheckKind.LINE)] = True
    row_of = np.full(len(evaluation.plan.positions), -1)
    rows = np.flatnonzero(usable & is_line[options.rows])
    row_of[table.position[options.rows[rows]]] = rows
    return row_of


def _list_candidates(
    evaluation: BuildingEvaluation, slope: MisfitSlope, row_of: IntArray
) -> Iterator[_Candidate]:
    """List the bays and spans that nobody has read and whose length matters."""
    plan, fit_up = evaluation.plan, evaluation.fit_up
    if fit_up is None or not slope.by_position.any():
        return
    taking_part = set(fit_up.positions.tolist())
    for kind, pairs in (
        (CheckKind.BAY, find_bays(plan)),
        (CheckKind.SPAN, find_spans(plan)),
    ):
        for pair in pairs:
            if not pair.ends <= taking_part:
                continue
            by_wall = kind is CheckKind.BAY and (
                plan.positions[pair.first].wall is not None
            )
            ends = (pair.first, pair.second)
            if by_wall:
                of_lines = slope.by_position[list(ends), 0]
                own, weight = 0.0, float(np.abs(of_lines).max())
                lines = int(row_of[ends[0]]), int(row_of[ends[1]])
            else:
                own = _slope_of_length(evaluation, slope, pair)
                weight, lines = abs(own), (-1, -1)
            if weight < MIN_SLOPE or (by_wall and min(lines) < 0):
                continue
            check = _find_unread(evaluation, kind, pair)
            if check is not None:
                yield _Candidate(check, pair, lines, own, weight)


def _slope_of_length(
    evaluation: BuildingEvaluation, slope: MisfitSlope, pair: NeighbourPair
) -> float:
    """Return the derivative of the misfit where the two ends move apart equally."""
    direction = np.array(pair.direction)
    apart = 0.0
    for end, sign in ((pair.first, -0.5), (pair.second, 0.5)):
        axes = evaluation.rods.position_axes[end]
        local = np.array([axes.along @ direction, axes.inward @ direction])
        apart += sign * float(slope.by_position[end] @ local)
    return apart


def _find_unread(
    evaluation: BuildingEvaluation, kind: CheckKind, pair: NeighbourPair
) -> Check | None:
    """Return the check of a pair; None where it was read, or has no name of its own."""
    positions = evaluation.plan.positions
    marks = positions[pair.first].mark, positions[pair.second].mark
    try:
        check = find_check(evaluation.plan, CheckKey.for_pair(kind, marks))
    except UnknownCheckError:  # hyphens in marks can make two pairs one key
        return None
    return None if check.key in evaluation.table.index else check


def _build_readings(
    evaluation: BuildingEvaluation,
    lines: IntArray,
    length: FloatArray,
    resolution_mm: float,
) -> tuple[FloatArray, FloatArray]:
    """Return shared loadings and own variance of readings as the lines were taken.

    They have the tape, and the day where the temperature was not noted, of the two
    lines; where there are none, of most of the building's lengths.
    """
    observations, options = evaluation.observations, evaluation.chances.options
    errors = observations.common_errors
    n, n_common = len(length), len(errors)
    if not n:
        return np.zeros((0, options.observed.shape[1])), np.zeros(0)
    size = np.abs(observations.common)
    used = np.tile(size.sum(axis=0), (n, 1))
    joins = lines[:, 0] >= 0
    used[joins] = size[options.rows[lines[joins]]].sum(axis=1)
    is_tape = np.array([e.kind is CommonErrorKind.TAPE for e in errors], dtype=bool)
    classes = dict(list_tapes(evaluation.plan))
    assumed = CLASS_NUMBER[ASSUMED_CLASS]
    number = np.array([classes.get(error.name, assumed) for error in errors], dtype=int)
    loading = np.zeros((n, n_common))
    for columns in (np.flatnonzero(is_tape), np.flatnonzero(~is_tape)):
        if columns.size:
            chosen = columns[used[:, columns].argmax(axis=1)]
            loading[np.arange(n), chosen] = used[np.arange(n), chosen] > 0.0
    tape_class = np.where(loading * is_tape, number, 0).sum(axis=1)  # 0: none named
    parts = reading_uncertainty(
        length, resolution_mm, tape_class, temperature_known=False
    )
    loading *= np.where(is_tape, parts.class_mm[:, None], parts.temperature_mm[:, None])
    shared = np.zeros((n, options.observed.shape[1]))
    shared[:, :n_common] = loading @ observations.common_estimate.root
    return shared, parts.independent_mm**2


def _length_sigma(
    evaluation: BuildingEvaluation, candidate: _Candidate
) -> float | None:
    """Return how far the length may be from the plan; None where nothing tells. [mm]

    The outline's prediction counts too: fit-up takes the length as planned.
    """
    if candidate.check.kind is not CheckKind.SPAN:
        return None
    plan, square = evaluation.plan, evaluation.squareness
    pair = candidate.pair
    ends = plan.positions[pair.first], plan.positions[pair.second]
    if square.verdict is Verdict.REMEASURE or any(end.wall is None for end in ends):
        return None
    predicted, sigma = predict_span(plan, ends, square)
    return float(np.hypot(predicted, sigma)) if np.isfinite(sigma) else None
