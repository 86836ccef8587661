"""A good shift of the steel, quickly: candidates scored on all positions.

Candidates come from the positions themselves: no shift, the shift each position wants,
and the shift and rotation that two positions want together. Each is scored against
every rod in one array. Around the best of them further candidates are drawn, closer
and closer, and scored again. Nothing here is proved: `best_shift` fits the positions
that the winner keeps and computes the true effect.

Rotations are small: a rod at p from the centre moves by shift + rotation x p, which is
right to rotation^2 / 2 of the distance, 0.01 mm in 50 m at 2e-5 rad. `best_shift`
counts again with the true rotation. Lengths in mm.
"""

from dataclasses import dataclass

import numpy as np

from checks.engine.arrays import BoolArray, FloatArray, IntArray
from checks.engine.conformity import SLACK_MM

MAX_PAIRS = 400
MAX_LEADERS = 8  # best candidates around which more are drawn
DRAWS_PER_LEADER = 48  # each round
DRAW_SIGMAS_MM = (1.5, 0.6, 0.25, 0.1)  # movement of the outermost rods, by round
MAX_RESIDUALS_AT_ONCE = 30_000  # rods times shifts: what a processor's cache holds
SHIFTS_PER_GROUP = 64
ROUNDING_MM = 1e-9
SEED = 1  # fixed: the same readings must give the same result


@dataclass(frozen=True, slots=True, kw_only=True)
class CandidateRods:
    """Rods of all positions that some shift brings within, position by position."""

    place: FloatArray  # (n, 2) planned, from a common centre [mm]
    off: FloatArray  # (n, 2) as built less planned [mm]
    allowance: FloatArray  # (n,) [mm]
    start: IntArray  # (p,) first rod of each position; its rods follow one another


def select_positions_sampled(rods: CandidateRods) -> BoolArray:
    """Return the positions (p,) that the best shift found keeps.

    Parameters
    ----------
    rods : CandidateRods
        Rods of the positions that some shift brings within. [mm]
    """
    shifts = _propose_shifts(rods)
    reach = max(float(np.abs(rods.place).max(initial=0.0)), 1.0)
    draw = np.random.default_rng(SEED)
    score = _score_shifts(rods, shifts)
    for spread in DRAW_SIGMAS_MM:
        lead = np.argsort(-score, kind="stable")[:MAX_LEADERS]
        step = draw.normal(0.0, spread, (lead.size, DRAWS_PER_LEADER, 3))
        step[..., 2] /= reach
        near = (shifts[lead][:, None] + step).reshape(-1, 3)
        score = np.concatenate((score[lead], _score_shifts(rods, near)))
        shifts = np.concatenate((shifts[lead], near))
    best = shifts[int(score.argmax())]
    kept: BoolArray = _compute_excess(rods, best[None])[0] <= SLACK_MM
    return kept


def _propose_shifts(rods: CandidateRods) -> FloatArray:
    """Propose shifts and rotations (k, 3): none, each position's, each pair's."""
    count = np.diff(np.append(rods.start, len(rods.place)))[:, None]
    centre = np.add.reduceat(rods.place, rods.start) / count
    # The worst rod decides, so the middle of the extremes is a better guess of a
    # position's own shift than the mean.
    high = np.maximum.reduceat(rods.off, rods.start)
    low = np.minimum.reduceat(rods.off, rods.start)
    wanted = 0.5 * (high + low)
    i, j = _pick_pairs(len(centre))
    base, differ = centre[j] - centre[i], wanted[j] - wanted[i]
    length2 = np.maximum((base * base).sum(axis=1), 1.0)
    rotation = (base[:, 0] * differ[:, 1] - base[:, 1] * differ[:, 0]) / length2
    middle = 0.5 * (centre[i] + centre[j])
    shift = 0.5 * (wanted[i] + wanted[j])
    shift -= rotation[:, None] * np.stack((-middle[:, 1], middle[:, 0]), axis=1)
    own = np.concatenate((wanted, np.zeros((len(wanted), 1))), axis=1)
    pairs = np.concatenate((shift, rotation[:, None]), axis=1)
    return np.concatenate((np.zeros((1, 3)), own, pairs))


def _pick_pairs(count: int) -> tuple[IntArray, IntArray]:
    """Return the pairs i < j of `count` positions, at most MAX_PAIRS, evenly spread.

    The pairs are numbered row by row; thousands of positions have millions of them,
    so a pair is found from its number.
    """
    pairs = count * (count - 1) // 2
    number = np.linspace(0, max(pairs - 1, 0), min(pairs, MAX_PAIRS)).astype(int)
    row = np.arange(max(count - 1, 0))
    first = row * (count - 1) - row * (row - 1) // 2  # number of the pair (i, i + 1)
    i = np.searchsorted(first, number, side="right") - 1
    j = number - first[i] + i + 1
    return i.astype(int), j.astype(int)


def _score_shifts(rods: CandidateRods, shifts: FloatArray) -> FloatArray:
    """Score shifts (k, 3), each on the positions that not every shift near it keeps.

    One point for each position kept. A fraction of a point, for how close the others
    are, gives the search a slope to follow between whole points.

    A rod's excess changes by no more than its place moves. Shifts are therefore taken
    in groups, nearest to their median first, and positions that the movement of a
    group cannot bring out count without arithmetic: the score is the same.
    """
    count = len(rods.start)
    middle = np.median(shifts, axis=0)
    away = np.abs(shifts - middle)
    travel = np.hypot(away[:, 0], away[:, 1])
    place = np.hypot(rods.place[:, 0], rods.place[:, 1])
    reach = np.maximum.reduceat(place, rods.start)
    at_middle = _compute_excess(rods, middle[None])[0]
    score = np.empty(len(shifts))
    order = np.argsort(travel + away[:, 2] * reach.max(), kind="stable")
    for start in range(0, len(shifts), SHIFTS_PER_GROUP):
        group = order[start : start + SHIFTS_PER_GROUP]
        most = travel[group].max() + away[group, 2].max() * reach
        unsure = at_middle + most > -ROUNDING_MM
        kept = near = np.full(len(group), float(count - np.count_nonzero(unsure)))
        if unsure.any():
            excess = _compute_excess(_select_positions(rods, unsure), shifts[group])
            kept = kept + (excess <= SLACK_MM).sum(axis=1)
            near = near + (1.0 / (1.0 + np.maximum(excess, 0.0))).sum(axis=1)
        score[group] = kept + 0.5 * near / (count + 1)
    return score


def _select_positions(rods: CandidateRods, chosen: BoolArray) -> CandidateRods:
    """Return the rods of the `chosen` (p,) positions."""
    sizes = np.diff(np.append(rods.start, len(rods.place)))
    use = np.repeat(chosen, sizes)
    return CandidateRods(
        place=rods.place[use],
        off=rods.off[use],
        allowance=rods.allowance[use],
        start=np.append(0, np.cumsum(sizes[chosen])[:-1]).astype(int),
    )


def _compute_excess(rods: CandidateRods, shifts: FloatArray) -> FloatArray:
    """Return the worst excess (k, p) of each position after each shift (k, 3). [mm]"""
    size = max(1, MAX_RESIDUALS_AT_ONCE // max(len(rods.place), 1))
    parts = []
    for start in range(0, len(shifts), size):
        part = shifts[start : start + size]
        rotation = part[:, 2, None]
        x = rods.off[:, 0] - part[:, 0, None] + rotation * rods.place[:, 1]
        y = rods.off[:, 1] - part[:, 1, None] - rotation * rods.place[:, 0]
        over = np.sqrt(x * x + y * y) - rods.allowance
        parts.append(np.maximum.reduceat(over, rods.start, axis=1))
    return np.concatenate(parts)
