"""Bays and spans that were read directly, as the fit-up takes them.

A bay on a wall joins two reference lines, which were read from the wall's corner: the
three are adjusted together, condition by condition (Ghilani, *Adjustment Computations*,
5th ed., 2010, 22.2). A span, and a bay between point positions, measure what nothing
else does: the distance of the two steel lines, or points. Its two ends are moved apart
by it, as little as gives all such lengths.
"""

from collections.abc import Sequence

import numpy as np

from checks.engine.arrays import BoolArray, FloatArray, IntArray
from checks.engine.fit_up.posterior import PairReadings
from checks.evaluation.check_table import CheckTable, RodTable
from checks.evaluation.reduce_readings import Observations
from jobs.anchor_plan.check_keys import CheckKind
from jobs.anchor_plan.neighbours import NeighbourPair, find_bays, find_spans
from jobs.anchor_plan.values import Plan


def list_pairs(
    plan: Plan, positions: IntArray
) -> tuple[IntArray, FloatArray, BoolArray]:
    """List bays and frames between positions that take part, bays first."""
    place = np.full(len(plan.positions), -1)
    place[positions] = np.arange(positions.size)

    def complete(pairs: Sequence[NeighbourPair]) -> list[NeighbourPair]:
        return [p for p in pairs if place[p.first] >= 0 and place[p.second] >= 0]

    bays, spans = complete(find_bays(plan)), complete(find_spans(plan))
    both = [*bays, *spans]
    ends = np.array([(p.first, p.second) for p in both], dtype=np.intp).reshape(-1, 2)
    direction = np.array([p.direction for p in both], dtype=float).reshape(-1, 2)
    return place[ends], direction, np.arange(len(both)) < len(bays)


def list_pair_rows(
    plan: Plan,
    table: CheckTable,
    observations: Observations,
    positions: IntArray,
    contradicted: IntArray,
) -> IntArray:
    """List the rows of the bays and spans that count, between these positions."""
    rows = table.rows(CheckKind.BAY, CheckKind.SPAN)
    rows = rows[(observations.count[rows] > 0) & ~np.isnan(observations.value[rows])]
    rows = rows[~np.isin(rows, contradicted)]
    taking_part = {plan.positions[i].mark for i in positions}
    kept = [row for row in rows if taking_part.issuperset(table.checks[row].marks)]
    return np.array(kept, dtype=np.intp)


def collect_pair_readings(
    plan: Plan,
    table: CheckTable,
    rods: RodTable,
    observations: Observations,
    positions: IntArray,
    rows: IntArray,
) -> PairReadings:
    """Collect the readings of bays and spans, and what they move.

    Parameters
    ----------
    plan, table, rods, observations : of one building.
    positions : (n,) those that take part in the fit-up.
    rows : (r,) checks of bays and spans, see `list_pair_rows`.
    """
    place = {plan.positions[i].mark: j for j, i in enumerate(positions)}
    direction = {
        frozenset((plan.positions[p.first].mark, plan.positions[p.second].mark)): p
        for p in (*find_bays(plan), *find_spans(plan))
    }
    by_line = np.zeros((rows.size, positions.size))
    apart = np.zeros((rows.size, positions.size, 2))
    for i, row in enumerate(rows):
        check = table.checks[row]
        pair = direction[frozenset(check.marks)]
        ends = [place[plan.positions[k].mark] for k in (pair.first, pair.second)]
        on_wall = plan.positions[pair.first].wall is not None
        if check.kind is CheckKind.BAY and on_wall:
            by_line[i, ends] = -1.0, 1.0
        else:
            apart[i, ends[0]] = -np.array(pair.direction)
            apart[i, ends[1]] = pair.direction
    # The smallest movements that give these lengths, then in each position's own axes.
    plan_shift = np.linalg.pinv(apart.reshape(rows.size, 2 * positions.size)).reshape(
        positions.size, 2, rows.size
    )
    local = [rods.position_axes[i] for i in positions]
    axes = np.array([(each.along, each.inward) for each in local])
    return PairReadings(
        by_line=by_line,
        shift=np.einsum("nij,njr->nir", axes, plan_shift),
        value=observations.value[rows] - table.nominal[rows],
        independent=observations.independent[rows],
        common=observations.common[rows],
    )


def estimate_moves(
    table: CheckTable,
    observations: Observations,
    positions: IntArray,
    rows: IntArray,
    pairs: PairReadings,
) -> FloatArray:
    """Estimate how bays and spans move the positions, without any prior.

    Returns
    -------
    array, shape (n, 2)
        Along and in, to add to every rod of the position. [mm]
    """
    moves: FloatArray = np.einsum("nir,r->ni", pairs.shift, pairs.value)
    bays: BoolArray = np.asarray(pairs.by_line.any(axis=1))
    if not bays.any():
        return moves
    lines = table.rows(CheckKind.LINE)
    row_of = np.full(table.position.max() + 1, -1)
    row_of[table.position[lines]] = lines
    used = np.flatnonzero(pairs.by_line.any(axis=0))
    line_rows = row_of[positions[used]]
    by_line = pairs.by_line[np.ix_(bays, used)]
    both = observations.covariance(np.concatenate((line_rows, rows[bays])))
    k = used.size
    across = both[:k, k:] - both[:k, :k] @ by_line.T
    within = both[k:, k:] - by_line @ both[:k, k:] - both[k:, :k] @ by_line.T
    within += by_line @ both[:k, :k] @ by_line.T
    read = observations.value[line_rows] - table.nominal[line_rows]
    missed = pairs.value[bays] - by_line @ read
    moves[used, 0] -= across @ np.linalg.solve(within, missed)
    return moves
