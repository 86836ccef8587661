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

from checks.engine.arrays import BoolArray, FloatArray
from checks.engine.conformity import SLACK_MM

MAX_PAIRS = 400
MAX_LEADERS = 8  # about which more candidates are drawn
DRAWS_PER_LEADER = 48  # about each of them, each round
DRAW_SIGMAS_MM = (1.5, 0.6, 0.25, 0.1)  # of the draws, at the outermost rods
MAX_RESIDUALS_AT_ONCE = 30_000  # rods times moves: what a processor's cache holds
SEED = 1


@dataclass(frozen=True, slots=True, kw_only=True)
class CandidateRods:
    """Rods of all positions that some shift brings within, position by position."""

    place: FloatArray  # (n, 2) planned, from a common centre [mm]
    off: FloatArray  # (n, 2) as built less planned [mm]
    allowance: FloatArray  # (n,) [mm]
    start: np.ndarray  # (p,) first rod of each position, its rods in one run


def select_positions_sampled(ballot: CandidateRods) -> BoolArray:
    """Return the positions (p,) that the best shift found keeps.

    Parameters
    ----------
    ballot : CandidateRods
        Rods of the positions that some shift brings within. [mm]
    """
    moves = _propose_shifts(ballot)
    reach = max(float(np.abs(ballot.place).max(initial=0.0)), 1.0)
    draw = np.random.default_rng(SEED)
    score, kept = _score_shifts(ballot, moves)
    for spread in DRAW_SIGMAS_MM:
        lead = np.argsort(-score, kind="stable")[:MAX_LEADERS]
        step = draw.normal(0.0, spread, (lead.size, DRAWS_PER_LEADER, 3))
        step[..., 2] /= reach
        near = (moves[lead][:, None] + step).reshape(-1, 3)
        more, stay = _score_shifts(ballot, near)
        moves = np.concatenate((moves[lead], near))
        score = np.concatenate((score[lead], more))
        kept = np.concatenate((kept[lead], stay))
    best: BoolArray = kept[int(score.argmax())]
    return best


def _propose_shifts(ballot: CandidateRods) -> FloatArray:
    """Propose shifts and rotations (k, 3): none, each position's, each pair's."""
    count = np.diff(np.append(ballot.start, len(ballot.place)))[:, None]
    centre = np.add.reduceat(ballot.place, ballot.start) / count
    # The worst rod decides, so the middle of the extremes is a better guess of a
    # position's own shift than the mean.
    high = np.maximum.reduceat(ballot.off, ballot.start)
    low = np.minimum.reduceat(ballot.off, ballot.start)
    asked = 0.5 * (high + low)
    i, j = np.triu_indices(len(centre), 1)
    if i.size > MAX_PAIRS:
        pick = np.linspace(0, i.size - 1, MAX_PAIRS).astype(int)
        i, j = i[pick], j[pick]
    base, differ = centre[j] - centre[i], asked[j] - asked[i]
    length2 = np.maximum((base * base).sum(axis=1), 1.0)
    turn = (base[:, 0] * differ[:, 1] - base[:, 1] * differ[:, 0]) / length2
    middle = 0.5 * (centre[i] + centre[j])
    shift = 0.5 * (asked[i] + asked[j])
    shift -= turn[:, None] * np.stack((-middle[:, 1], middle[:, 0]), axis=1)
    own = np.concatenate((asked, np.zeros((len(asked), 1))), axis=1)
    pairs = np.concatenate((shift, turn[:, None]), axis=1)
    return np.concatenate((np.zeros((1, 3)), own, pairs))


def _score_shifts(
    ballot: CandidateRods, moves: FloatArray
) -> tuple[FloatArray, BoolArray]:
    """Score all shifts (k, 3), in parts that fit a processor's cache."""
    size = max(1, MAX_RESIDUALS_AT_ONCE // max(len(ballot.place), 1))
    parts = [
        _score_batch(ballot, moves[start : start + size])
        for start in range(0, len(moves), size)
    ]
    return (
        np.concatenate([score for score, _ in parts]),
        np.concatenate([kept for _, kept in parts]),
    )


def _score_batch(
    ballot: CandidateRods, moves: FloatArray
) -> tuple[FloatArray, BoolArray]:
    """Return the score of each shift (k, 3) and the positions (k, p) it keeps.

    One point for each position kept. A fraction of a point, for how close the others
    are, gives the search a slope to follow between whole points.
    """
    turn = moves[:, 2, None]
    x = ballot.off[:, 0] - moves[:, 0, None] + turn * ballot.place[:, 1]
    y = ballot.off[:, 1] - moves[:, 1, None] - turn * ballot.place[:, 0]
    over = np.sqrt(x * x + y * y) - ballot.allowance
    miss = np.maximum.reduceat(over, ballot.start, axis=1)
    kept = miss <= SLACK_MM
    near = (1.0 / (1.0 + np.maximum(miss, 0.0))).sum(axis=1) / (miss.shape[1] + 1)
    return kept.sum(axis=1) + 0.5 * near, kept
