"""Likely causes with the level: a grade rod upside down, a set-up that was knocked."""

from collections.abc import Iterator
from dataclasses import replace

import numpy as np

from checks.engine import causes
from checks.engine.arrays import FloatArray, IntArray
from checks.evaluation.failing_checks import FailingChecks
from checks.evaluation.likely_cause import CauseKind, LikelyCause
from jobs.anchor_plan.check_keys import CheckKind
from jobs.anchor_plan.values import ReadingValue

PAD_SCATTER_MM = 10.0
"""Pads of one set-up are seldom further apart. Project choice."""

MIN_READINGS = 3
"""Fewer grade-rod readings cannot show which of them is wrong."""

LevelReadings = list[tuple[int, ReadingValue]]
"""Rows and their grade-rod readings, in the order taken."""


def find_level_causes(failing: FailingChecks) -> Iterator[LikelyCause]:
    """Find a grade rod held upside down, or a level that was knocked."""
    if not failing.unexplained_rows(CheckKind.LEVEL):
        return
    taken = _readings_in_order(failing)
    if len(taken) < MIN_READINGS:
        return
    value = np.array([reading.value for _, reading in taken])
    names = {n: i for i, n in enumerate(dict.fromkeys(r.setup for _, r in taken))}
    setup = np.array([names[reading.setup] for _, reading in taken])
    yield from _find_inverted_rod(failing, taken, value, setup)
    yield from _find_disturbed_setup(failing, taken, value, setup, list(names))


def _readings_in_order(failing: FailingChecks) -> LevelReadings:
    """Return every grade-rod reading by time, else in the order of the document."""
    evaluation = failing.evaluation
    levelled = set(evaluation.table.rows(CheckKind.LEVEL, CheckKind.BENCHMARK).tolist())
    index = evaluation.table.index
    taken = [
        (index[reading.check], reading)
        for reading in evaluation.observations.all_readings
        if index[reading.check] in levelled
    ]
    times = [reading.at for _, reading in taken if reading.at is not None]
    if len(times) < len(taken):
        return taken
    order = sorted(range(len(taken)), key=times.__getitem__)
    return [taken[i] for i in order]


def _find_inverted_rod(
    failing: FailingChecks, taken: LevelReadings, value: FloatArray, setup: IntArray
) -> Iterator[LikelyCause]:
    expected = _expected_readings(failing, taken, value, setup)
    length = causes.find_inverted_rods(value, expected, 3.0 * PAD_SCATTER_MM)
    for i in np.flatnonzero(~np.isnan(length)):
        row, reading = taken[i]
        cause = failing.explain(
            CauseKind.ROD_UPSIDE_DOWN,
            [row],
            f"The reading {reading.text} of {failing.describe(row)} and the reading its"
            f" neighbours suggest add up to a {failing.length_text(length[i])} rod. The"
            " rod was held upside down.",
        )
        # An inverted reading may have become the highest pad, so that all others fail.
        others = [
            failing.check(row).key for row in failing.unexplained_rows(CheckKind.LEVEL)
        ]
        yield replace(cause, checks=(*cause.checks, *others), readings=(reading.id,))


def _expected_readings(
    failing: FailingChecks, taken: LevelReadings, value: FloatArray, setup: IntArray
) -> FloatArray:
    """Return the expected value of each reading, (n,); NaN where unknown. [mm]

    Pads are much alike: a pad is expected at the median of its set-up, from three pads
    on. A benchmark may stand at any height: it is expected as far from the pads as in
    the other set-ups it was read from, where these agree.
    """
    rows = np.array([row for row, _ in taken])
    pad = np.array([failing.check(row).kind is CheckKind.LEVEL for row, _ in taken])
    setups = range(setup.max() + 1)
    count = np.array([np.count_nonzero(pad & (setup == one)) for one in setups])
    median = np.array(
        [
            np.median(value[pad & (setup == one)]) if count[one] else np.nan
            for one in setups
        ]
    )
    expected = np.where(pad & (count >= MIN_READINGS)[setup], median[setup], np.nan)
    for i in np.flatnonzero(~pad):
        others = (rows == rows[i]) & (setup != setup[i]) & (count > 0)[setup]
        difference = (value - median[setup])[others]
        if difference.size and np.ptp(difference) <= 2.0 * PAD_SCATTER_MM:
            expected[i] = median[setup[i]] + difference.mean()
    return expected


def _find_disturbed_setup(
    failing: FailingChecks,
    taken: LevelReadings,
    value: FloatArray,
    setup: IntArray,
    names: list[str],
) -> Iterator[LikelyCause]:
    point = np.array([row for row, _ in taken])
    limit = failing.evaluation.limits.level_misclosure()
    disturbances = causes.find_setup_disturbances(value, setup, point, limit)
    if not disturbances:
        yield from _find_offset_setup(failing, point, setup, names)
    for disturbance in disturbances:
        after = np.flatnonzero(setup == disturbance.setup)[disturbance.reading :]
        # All heights depend on each other: the set-up makes pads of others fail, too.
        pads = failing.unexplained_rows(CheckKind.LEVEL)
        rows = list(dict.fromkeys([*pads, *point[after].tolist()]))
        if pads:
            first = failing.describe(int(point[after[0]]))
            change = failing.length_text(disturbance.shift_mm)
            cause = failing.explain(
                CauseKind.SETUP_KNOCKED,
                rows,
                f"In set-up {names[disturbance.setup]} every point that was read again"
                f" changed by {change}. The level was knocked, most likely before"
                f" {first} was read.",
            )
            yield replace(cause, readings=tuple(taken[i][1].id for i in after))


def _find_offset_setup(
    failing: FailingChecks, point: IntArray, setup: IntArray, names: list[str]
) -> Iterator[LikelyCause]:
    """Find a set-up whose pads all lie above or below those of the others."""
    pads = failing.evaluation.pads
    as_read = np.full(len(failing.evaluation.table), np.nan)
    as_read[pads.rows] = pads.as_read
    height = as_read[point]
    known = ~np.isnan(height) & np.isin(point, pads.rows)
    step = causes.find_offset_setup(height[known], setup[known], PAD_SCATTER_MM / 2.0)
    if step is None:
        return
    offset_setup, amount = step
    rows = [
        int(row)
        for row in dict.fromkeys(point[known & (setup == offset_setup)].tolist())
        if row in failing.unexplained
    ] or failing.unexplained_rows(CheckKind.LEVEL)
    if rows:
        yield failing.explain(
            CauseKind.SETUP_KNOCKED,
            rows,
            f"All pads of set-up {names[offset_setup]} are"
            f" {failing.length_text(amount)} {'above' if amount > 0 else 'below'} the"
            " others. The level was knocked between its tie and the pads.",
        )
