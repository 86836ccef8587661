"""Rotations of a plate, and the proof that none is better than the one found.

For one plate, g(rotation) is the least largest excess over all shifts. Three facts:

*Pairs.* With t known, holes i and j reach their rods only if the distance between
R(rotation)(hole_i - hole_j) and rod_i - rod_j is at most 2 t + clearance_i +
clearance_j. By the law of cosines this is an arc of rotations, and a narrow one.

*Bounds.* Any y_i and lambda_i >= |y_i| with sum(lambda) = 1 and sum(y) = 0 give,
at every rotation at once, g >= sum(y_i . (R hole_i - rod_i)) - sum(lambda_i
clearance_i): weak duality of the second-order cone problem [1]_. It is a sinusoid
in the rotation. Held rods, which t does not reach, are left out of sum(lambda) = 1
only.

*One valley.* The shifts that serve one hole form a disc, so by Helly's theorem [2]_
a rotation serves all holes if it serves every three. For three holes held at distances
e_i by forces lambda_i, rotating about the point z where the three lines of force
meet, at signed distances sigma_i from the holes, the second derivative of g is
sum(lambda_i sigma_i (sigma_i - e_i) / e_i). Only a hole within e_i of z has a negative
term, at most e_i / 4, and its force is at most half of all. The others outweigh it as
long as the holes are `ONE_VALLEY_SPACING` = (3 + sqrt 2) / 2 times the largest e apart
(own derivation, checked in the tests against a search of all rotations). Then every
rotation where g stops falling is a minimum, and the arc of a pair has only one.

Where the third does not apply (rods a foot off, rods exchanged, limits on the shift or
the rotation), the arc is searched by branch and bound with the second.

A *limit on the rotation* cuts the arc. The best placement then either turns less than
the limit or stands at it, and there it is a placement with its rotation fixed.

References
----------
.. [1] S. Boyd and L. Vandenberghe, Convex Optimization, 2004, section 5.9.
.. [2] E. Helly, Jahresbericht der DMV 32, 1923.
"""

from dataclasses import dataclass, replace

import numpy as np

from checks.engine.arrays import BoolArray, FloatArray, IntArray
from checks.engine.plate_fit.interior_point import solve_interior_point
from checks.engine.plate_fit.state import (
    PlateProblem,
    SolverState,
    empty_state,
    rotate_points,
)

ONE_VALLEY_SPACING = (3.0 + np.sqrt(2.0)) / 2.0
MAX_ROUNDS = 40  # halvings of an arc: beyond it a piece is narrower than rounding
MAX_HOLES_ALL_PAIRS = 16  # with more holes only pairs with the outermost are tried
MAX_PAIRS_AT_ONCE = 60_000  # pairs compared together: what a processor's cache holds
INITIAL_PIECES = 8  # of an arc when the search starts
MAX_PIECES_PER_PLATE = 400  # on average; beyond it the search gives up
BRIEF_ROUNDS = 1


@dataclass(frozen=True, slots=True, kw_only=True)
class RotationBound:
    """g(rotation + psi) >= cosine cos(psi) + sine sin(psi) - rest, per plate (g,)."""

    cosine: FloatArray
    sine: FloatArray
    rest: FloatArray

    def shifted_by(self, offset_rad: FloatArray) -> "RotationBound":
        """Return the same bound, with psi counted from offset_rad (g,)."""
        c, s = np.cos(offset_rad), np.sin(offset_rad)
        return RotationBound(
            cosine=c * self.cosine + s * self.sine,
            sine=c * self.sine - s * self.cosine,
            rest=self.rest,
        )

    def take(self, keep: IntArray) -> "RotationBound":
        return RotationBound(
            cosine=self.cosine[keep], sine=self.sine[keep], rest=self.rest[keep]
        )

    def minimum_within(self, half_rad: FloatArray) -> FloatArray:
        """Return the least value over |psi| <= half_rad (g,)."""
        sure = np.isfinite(self.rest)
        height = np.hypot(self.cosine, self.sine)
        ends = self.cosine * np.cos(half_rad) - np.abs(self.sine * np.sin(half_rad))
        bottom = np.pi - np.abs(np.arctan2(self.sine, self.cosine))
        out: FloatArray = np.where(bottom <= half_rad, -height, ends) - self.rest
        return np.where(sure, out, -np.inf)


def largest_interference(
    problem: PlateProblem, rotation_rad: FloatArray, shift: FloatArray
) -> FloatArray:
    """Compute the largest excess (g,) at a placement, in the problem's own units.

    Infinite where a held rod is not within its clearance.
    """
    gap = rotate_points(problem.holes, rotation_rad) + shift[:, None] - problem.rods
    over = np.hypot(gap[0], gap[1]) - problem.clearance
    if problem.weight is not None:
        out_of_reach = np.where(over <= problem.held_tolerance, -np.inf, np.inf)
        over = np.where(problem.weight > 0.0, over, out_of_reach)
    out: FloatArray = over.max(axis=0)
    return out


def clipped_placement(
    problem: PlateProblem, state: SolverState
) -> tuple[FloatArray, FloatArray]:
    """Return rotation (g,) and shift (2, g) reached, the shift clipped to its limits.

    The interior point method keeps limits only to within rounding.
    """
    rotation, shift = state.x[1] / problem.radius, state.x[2:]
    if problem.limit is not None:
        shift = np.clip(shift, -problem.limit, problem.limit)
    return rotation, shift


def dual_bound(problem: PlateProblem, state: SolverState) -> RotationBound:
    """Return the lower bound on g that the multipliers prove, about the rotation.

    The multipliers are first repaired to satisfy the two sums of the dual exactly
    (zero mean, shares no less than their vectors), so that the bound holds even where
    the solver did not converge.
    """
    y = -state.z[1:]
    if problem.limit is None:
        y = y - y.mean(axis=1, keepdims=True)
    share = np.maximum(state.z[0], np.hypot(y[0], y[1]))
    total = problem.apply_weight(share).sum(axis=0)
    placed = rotate_points(problem.holes, state.x[1] / problem.radius)
    cosine = (y * placed).sum(axis=(0, 1))
    sine = (y[1] * placed[0] - y[0] * placed[1]).sum(axis=0)
    rest = (y * problem.rods).sum(axis=(0, 1)) + (share * problem.clearance).sum(axis=0)
    if problem.limit is not None:
        # With limits the forces need not balance: the limits carry the remainder.
        rest = rest + (np.abs(y.sum(axis=1)) * problem.limit).sum(axis=0)
    return RotationBound(cosine=cosine / total, sine=sine / total, rest=rest / total)


@dataclass(frozen=True, slots=True, kw_only=True)
class RotationArc:
    """Rotations (g,) outside which no placement is better.

    `middle` and `half` in rad; `half` is pi where every rotation is possible.
    `one_valley`: the spacing of the holes leaves a single minimum on the arc.
    """

    middle: FloatArray
    half: FloatArray
    one_valley: BoolArray

    def take(self, keep: IntArray) -> "RotationArc":
        return RotationArc(
            middle=self.middle[keep],
            half=self.half[keep],
            one_valley=self.one_valley[keep],
        )


def find_arc(problem: PlateProblem, best: FloatArray) -> RotationArc:
    """Find the narrowest arc of a pair at the interference `best` (g,).

    With many holes only pairs with the outermost are tried: those arcs are narrow, and
    the number of all pairs grows with the square.
    """
    m, g = problem.clearance.shape
    spacing = np.full(g, np.inf)
    reach = np.hypot(problem.holes[0], problem.holes[1])
    every = np.repeat(np.arange(m)[:, None], g, axis=1)
    size = max(1, MAX_PAIRS_AT_ONCE // (m * g))
    alone = _spacing_of_distinct_holes(problem.holes) if size < m and g == 1 else 0.0
    if alone > 0.0:
        spacing[0] = alone
    else:
        for start in range(0, m, size):
            near = _min_hole_spacing(problem, every[start : start + size])
            spacing = np.minimum(spacing, near)
    width, towards = _pair_arcs(
        problem, best, every if m <= MAX_HOLES_ALL_PAIRS else reach.argmax(axis=0)[None]
    )
    pick = width.argmin(axis=0), np.arange(g)
    middle, half = towards[pick], np.minimum(width[pick], np.pi)
    # Largest hole-to-rod distance anywhere on the arc, not only at the placement.
    most = (_threshold_share(problem, best) + problem.clearance).max(axis=0)
    most += 2.0 * half * reach.max(axis=0)
    free = problem.limit is None and problem.rotation_limit is None
    if problem.rotation_limit is not None:
        middle, half = _cut_arc(middle, half, problem.rotation_limit)
    single = ~np.isfinite(spacing)  # one rod: every rotation is as good
    return RotationArc(
        middle=middle,
        half=half,
        one_valley=(spacing >= ONE_VALLEY_SPACING * most) & free | single & free,
    )


def _cut_arc(
    middle: FloatArray, half: FloatArray, limit_rad: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Return middle and half (g,) of the part of each arc within its limit (g,).

    An arc that only touches its limit is left with a half of zero.
    """
    low = np.clip(middle - half, -limit_rad, limit_rad)
    high = np.clip(middle + half, -limit_rad, limit_rad)
    # An arc that winds past half a turn may come back within the limit from there.
    winds = np.abs(middle) + half >= 2.0 * np.pi - limit_rad
    low, high = np.where(winds, -limit_rad, low), np.where(winds, limit_rad, high)
    return (low + high) / 2.0, (high - low) / 2.0


def _threshold_share(problem: PlateProblem, best: FloatArray) -> FloatArray:
    """Return what `best` (g,) adds to each clearance: nothing for a held rod."""
    if problem.weight is None:
        return best
    return np.where(problem.weight > 0.0, best, 0.0)


def _spacing_of_distinct_holes(holes: FloatArray) -> float:
    """Compute the least distance between the holes (2, m, 1) of one plate, by a tree.

    Zero where two holes coincide: whether one repeats the other is then for
    `_min_hole_spacing` to find, which compares every pair.
    """
    from scipy.spatial import cKDTree  # slow to import, and seldom needed

    at = holes[:, :, 0].T
    _, nearest = cKDTree(at).query(at, k=2)
    step = at - at[nearest[:, 1]]
    return float(np.hypot(step[:, 0], step[:, 1]).min())


def _min_hole_spacing(problem: PlateProblem, first: IntArray) -> FloatArray:
    """Compute the least distance (g,) from some holes (k, g) to the other holes.

    A padded rod repeats another in every number: it adds no constraint, and its
    distance of zero must not count.
    """
    steps = _differences(problem.holes, first)
    distance = np.hypot(steps[0], steps[1])
    repeated = distance == 0.0
    if np.count_nonzero(repeated) > first.size:  # more than each hole from itself
        repeated &= _differences(problem.clearance, first) == 0.0
        if problem.weight is not None:
            repeated &= _differences(problem.weight, first) == 0.0
        repeated &= (_differences(problem.rods, first) == 0.0).all(axis=0)
    out: FloatArray = np.where(repeated, np.inf, distance).min(axis=(0, 1))
    return out


def _differences(what: FloatArray, first: IntArray) -> FloatArray:
    """Subtract the values of some holes (k, g) from those of all, (..., k, m, g)."""
    some = what[..., first, np.arange(first.shape[1])]
    out: FloatArray = what[..., None, :, :] - some[..., None, :]
    return out


def _pair_arcs(
    problem: PlateProblem, best: FloatArray, first: IntArray
) -> tuple[FloatArray, FloatArray]:
    """Return half width and middle (k m, g) of the arcs of holes (k, g) with each."""
    hole, rod = _differences(problem.holes, first), _differences(problem.rods, first)
    radius = _threshold_share(problem, best) + problem.clearance
    own = radius[first, np.arange(first.shape[1])]
    reach = np.maximum(radius + own[:, None], 0.0)
    hh, rr = (hole * hole).sum(axis=0), (rod * rod).sum(axis=0)
    product = 2.0 * np.sqrt(hh * rr)
    with np.errstate(divide="ignore", invalid="ignore"):
        cosine = (hh + rr - reach * reach) / product
    cosine = np.where(product > 0.0, np.clip(cosine, -1.0, 1.0), -1.0)
    towards = np.arctan2(hole[0] * rod[1] - hole[1] * rod[0], (hole * rod).sum(axis=0))
    flat = (-1, first.shape[1])
    return np.arccos(cosine).reshape(flat), towards.reshape(flat)


@dataclass(slots=True)
class BestPlacement:
    """Best placement found of each plate, and the bound proved about it."""

    value: FloatArray  # (g,) interference
    rotation: FloatArray  # (g,)
    shift: FloatArray  # (2, g)
    bound: RotationBound

    def take(self, keep: IntArray) -> "BestPlacement":
        return BestPlacement(
            self.value[keep],
            self.rotation[keep],
            self.shift[:, keep],
            self.bound.take(keep),
        )

    def put(self, at: IntArray, part: "BestPlacement") -> None:
        self.value[at], self.rotation[at] = part.value, part.rotation
        self.shift[:, at] = part.shift
        self.bound.cosine[at], self.bound.sine[at] = part.bound.cosine, part.bound.sine
        self.bound.rest[at] = part.bound.rest


def solve_from(
    problem: PlateProblem, rotation_rad: FloatArray, shift: FloatArray
) -> BestPlacement:
    """Solve every plate from a rotation (g,) and shift (2, g): its valley's bottom."""
    state = _solve_within_rotation_limit(problem, rotation_rad, shift)
    rotation, at = clipped_placement(problem, state)
    value = largest_interference(problem, rotation, at)
    start = largest_interference(problem, rotation_rad, shift)
    # Where the solver diverged, keep the starting placement; the bound holds anyway.
    lost = ~(value <= start)
    rotation, at = np.where(lost, rotation_rad, rotation), np.where(lost, shift, at)
    bound = dual_bound(problem, state).shifted_by(
        rotation - state.x[1] / problem.radius
    )
    # A bound that overflowed proves nothing: an infinite rest makes it minus infinity.
    bound.rest[~np.isfinite(bound.cosine + bound.sine + bound.rest)] = np.inf
    return BestPlacement(np.where(lost, start, value), rotation, at, bound)


def _solve_within_rotation_limit(
    problem: PlateProblem, rotation_rad: FloatArray, shift: FloatArray
) -> SolverState:
    """Solve every plate with its rotation free, or fixed at the limit it would pass.

    A plate that starts at the limit is tried there first: where its torque still
    pushes outward, nothing inside its valley is better.
    """
    limit = problem.rotation_limit
    if limit is None or not problem.free_rotation:
        return solve_interior_point(problem, rotation_rad, shift)
    state = empty_state(problem)
    at_limit = np.abs(rotation_rad) >= limit
    ends = np.flatnonzero(at_limit)
    _solve_into(state, problem, ends, rotation_rad, shift, free_rotation=False)
    sine = dual_bound(problem.take(ends), state.take(ends)).sine
    inward = sine * np.sign(rotation_rad[ends]) > 0.0
    free = np.concatenate((ends[inward], np.flatnonzero(~at_limit)))
    _solve_into(state, problem, free, rotation_rad, shift, free_rotation=True)
    turned = state.x[1] / problem.radius
    past = free[np.abs(turned[free]) > limit[free]]
    end = np.copysign(limit, turned)
    _solve_into(state, problem, past, end, shift, free_rotation=False)
    return state


def _solve_into(
    state: SolverState,
    problem: PlateProblem,
    at: IntArray,
    rotation_rad: FloatArray,
    shift: FloatArray,
    *,
    free_rotation: bool,
) -> None:
    """Solve some plates and write them into the state of all."""
    if at.size:
        part = replace(problem.take(at), free_rotation=free_rotation)
        state.put(at, solve_interior_point(part, rotation_rad[at], shift[:, at]))


def search_arc(
    problem: PlateProblem,
    best: BestPlacement,
    arcs: RotationArc,
    slack: FloatArray,
    *,
    brief: bool = False,
) -> BoolArray:
    """Search every rotation of each plate's arc; improve `best`, return the proved.

    Branch and bound: each piece of the arc is solved at its middle with the rotation
    fixed. It is dropped when the bound found there, or the one about the best
    placement, proves that it holds nothing better by more than `slack` (g,). A brief
    search gives up after `BRIEF_ROUNDS`.
    """
    g = slack.size
    plate = np.repeat(np.arange(g), INITIAL_PIECES)
    half = np.repeat(arcs.half / INITIAL_PIECES, INITIAL_PIECES)
    step = np.tile(2.0 * np.arange(INITIAL_PIECES) - INITIAL_PIECES + 1.0, g)
    middle = arcs.middle[plate] + half * step
    for _ in range(BRIEF_ROUNDS if brief else MAX_ROUNDS):
        near = (
            best.bound.take(plate)
            .shifted_by(middle - best.rotation[plate])
            .minimum_within(half)
        )
        keep = near < best.value[plate] - slack[plate]
        plate, middle, half = plate[keep], middle[keep], half[keep]
        if not 0 < plate.size <= MAX_PIECES_PER_PLATE * g:
            break
        held = replace(problem.take(plate), free_rotation=False)
        candidates = solve_from(held, middle, best.shift[:, plate])
        _improve_best(problem, candidates, plate, best)
        keep = candidates.bound.minimum_within(half) < best.value[plate] - slack[plate]
        plate, middle, half = plate[keep], middle[keep], half[keep] / 2.0
        middle = np.concatenate((middle - half, middle + half))
        plate, half = np.tile(plate, 2), np.tile(half, 2)
    proved = np.ones(g, dtype=np.bool_)
    proved[plate] = False
    return proved


def _improve_best(
    problem: PlateProblem,
    candidates: BestPlacement,
    plate: IntArray,
    best: BestPlacement,
) -> None:
    """Solve from the best piece of each plate to the bottom of its valley."""
    order = np.lexsort((candidates.value, plate))
    plates, first = np.unique(plate[order], return_index=True)
    pick = order[first]
    better = candidates.value[pick] < best.value[plates]
    plates, pick = plates[better], pick[better]
    if plates.size == 0:
        return
    below = solve_from(
        problem.take(plates), candidates.rotation[pick], candidates.shift[:, pick]
    )
    better = below.value < best.value[plates]
    best.put(plates[better], below.take(np.flatnonzero(better)))
