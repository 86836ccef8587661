"""Likely causes with the level: the grade rod on its head, a set-up that moved."""

from collections.abc import Iterator
from dataclasses import replace

import numpy as np

from checks.engine import causes
from checks.engine.arrays import FloatArray, IntArray
from checks.evaluation.failing_checks import FailingChecks, LikelyCause
from jobs.anchor_plan.check_keys import CheckKind
from jobs.anchor_plan.values import ReadingValue

PAD_SCATTER_MM = 10.0  # ours: pads of one set-up are seldom further apart

TakenReadings = list[tuple[int, ReadingValue]]
"""Rows and their grade-rod readings, in the order taken."""


def find_level_causes(failing: FailingChecks) -> Iterator[LikelyCause]:
    """A grade rod on its head, or a level that was knocked."""
    if not failing.unexplained_rows(CheckKind.LEVEL):
        return
    taken = _readings_in_order(failing)
    if len(taken) < 3:
        return
    value = np.array([reading.value for _, reading in taken])
    names = {n: i for i, n in enumerate(dict.fromkeys(r.setup for _, r in taken))}
    setup = np.array([names[reading.setup] for _, reading in taken])
    yield from _find_inverted_rod(failing, taken, value, setup)
    yield from _find_disturbed_setup(failing, taken, value, setup, list(names))


def _readings_in_order(failing: FailingChecks) -> TakenReadings:
    """Every grade-rod reading, as taken: in the document's order if one has no time."""
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
    failing: FailingChecks, taken: TakenReadings, value: FloatArray, setup: IntArray
) -> Iterator[LikelyCause]:
    expected = _expected_readings(failing, taken, value, setup)
    length = causes.find_inverted_rods(value, expected, 3.0 * PAD_SCATTER_MM)
    for i in np.flatnonzero(~np.isnan(length)):
        row, reading = taken[i]
        cause = failing.explain(
            "rod_upside_down",
            [row],
            f"The reading {reading.text} of {failing.check(row).description} and what its"
            f" neighbours expect add up to a {failing.length_text(length[i])} rod: it was"
            " read upside down.",
        )
        # One reading on its head may have made itself the highest pad of them all.
        others = [
            failing.check(row).key for row in failing.unexplained_rows(CheckKind.LEVEL)
        ]
        yield replace(cause, checks=(*cause.checks, *others), readings=(reading.id,))


def _expected_readings(
    failing: FailingChecks, taken: TakenReadings, value: FloatArray, setup: IntArray
) -> FloatArray:
    """What each reading is expected to be, shape (n,); NaN where nothing says. [mm]

    Pads are much alike: of three or more in a set-up, what its pads read in the
    middle. A benchmark may stand at any height, as far from the pads as in the other
    set-ups it was read from, where these agree.
    """
    row = np.array([row for row, _ in taken])
    pad = np.array([failing.check(one).kind is CheckKind.LEVEL for one, _ in taken])
    sets = range(setup.max() + 1)
    count = np.array([np.count_nonzero(pad & (setup == one)) for one in sets])
    middle = np.array(
        [
            np.median(value[pad & (setup == one)]) if count[one] else np.nan
            for one in sets
        ]
    )
    expected = np.where(pad & (count >= 3)[setup], middle[setup], np.nan)
    for i in np.flatnonzero(~pad):
        others = (row == row[i]) & (setup != setup[i]) & (count > 0)[setup]
        off = (value - middle[setup])[others]
        if off.size and np.ptp(off) <= 2.0 * PAD_SCATTER_MM:
            expected[i] = middle[setup[i]] + off.mean()
    return expected


def _find_disturbed_setup(
    failing: FailingChecks,
    taken: TakenReadings,
    value: FloatArray,
    setup: IntArray,
    names: list[str],
) -> Iterator[LikelyCause]:
    evaluation = failing.evaluation
    point = np.array([row for row, _ in taken])
    limit = evaluation.limits.level_misclosure()
    knocks = causes.find_setup_disturbances(value, setup, point, limit)
    for knock in knocks:
        after = np.flatnonzero(setup == knock.setup)[knock.reading :]
        # Heights hang together: a set-up that moved makes pads of the others low too.
        bad = failing.unexplained_rows(CheckKind.LEVEL)
        rows = list(dict.fromkeys([*bad, *point[after].tolist()]))
        if bad:
            cause = failing.explain(
                "setup_knocked",
                rows,
                f"In set-up {names[knock.setup]} points read again later all changed by"
                f" {failing.length_text(knock.shift_mm)}: the level was knocked, as it"
                f" seems before {failing.check(int(point[after[0]])).description} was read.",
            )
            yield replace(cause, readings=tuple(taken[i][1].id for i in after))
    if knocks:
        return
    height = evaluation.value[point]
    known = ~np.isnan(height) & np.isin(point, evaluation.pads.rows)
    step = causes.find_offset_setup(height[known], setup[known], PAD_SCATTER_MM / 2.0)
    if step is not None:
        one, amount = step
        bad = [
            int(row)
            for row in dict.fromkeys(point[known & (setup == one)].tolist())
            if row in failing.unexplained
        ] or failing.unexplained_rows(CheckKind.LEVEL)
        if bad:
            yield failing.explain(
                "setup_knocked",
                bad,
                f"All pads of set-up {names[one]} lie {failing.length_text(amount)}"
                f" {'above' if amount > 0 else 'below'} the others: the level was"
                " knocked between its tie and the pads.",
            )
