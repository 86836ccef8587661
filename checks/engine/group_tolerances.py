"""Tolerances of rod groups, between groups and from the established column line.

The established column line is the line in the field that best represents the centres
of the groups as built. It is fitted to them, not taken from the plan. Groups whose
planned centres are off the line on purpose are handled by fitting the deviations
across the line instead of the positions::

    across                    as built  x        x
      |        x ---- ---- ---- ---- ---- ---- ---- fitted: shift + slope * along
      +-----------------------------------------> along, as planned

Rules that a tolerance basis may contain (`GroupRules`): AISC 303 (2010) 7.5.1(a), (b),
(d) and (e), as quoted in AISC Design Guide 1, 2nd ed., 2.8 (seen second-hand); group
centre, and bolt from group centre, of EN 1090-2:2008 D.2.20, by the UK National
Structural Concrete Specification, 4th ed., 10.3 (seen second-hand).

A deviation is NaN where something it needs was not measured, and is then never within.
"""

from dataclasses import dataclass
from typing import Literal

import numpy as np
import numpy.typing as npt

from checks.engine.arrays import BoolArray, FloatArray, IntArray
from checks.engine.conformity import SLACK_MM
from checks.engine.errors import DegenerateGeometryError

LineFit = Literal["least_squares", "minimax"]


@dataclass(frozen=True, slots=True, kw_only=True)
class GroupRules:
    """Limits on groups; `inf` where the basis has no such rule. [mm]"""

    within_group_mm: float = np.inf
    adjacent_groups_mm: float = np.inf
    accumulated_mm: float = np.inf  # per `accumulated_per_mm` of planned distance
    accumulated_per_mm: float = np.inf  # inf: the limit is flat
    accumulated_floor_mm: float = 0.0
    accumulated_cap_mm: float = np.inf
    group_to_line_mm: float = np.inf
    group_centre_mm: float = np.inf
    rod_from_group_centre_mm: float = np.inf

    def accumulated_limit(self, distance_mm: npt.ArrayLike) -> FloatArray:
        """Compute the limit of accumulated deviation over planned distances. [mm]"""
        distance = np.asarray(distance_mm, dtype=float)
        if np.isinf(self.accumulated_per_mm):
            return np.full(distance.shape, self.accumulated_mm)
        limit: FloatArray = np.clip(
            distance / self.accumulated_per_mm * self.accumulated_mm,
            self.accumulated_floor_mm,
            self.accumulated_cap_mm,
        )
        return limit


@dataclass(frozen=True, slots=True, kw_only=True)
class ColumnLine:
    """A column line fitted to groups as built, in the order of the input."""

    along_mm: FloatArray  # (n,) planned, from the first group in the line's direction
    deviation_mm: FloatArray  # (n,) of the group's centre, left of the fitted line
    shift_mm: float  # of the fitted line off the planned one, at along = 0
    slope: float  # of the fitted line against the planned one, left per length
    largest_mm: float  # the largest deviation in size


@dataclass(frozen=True, slots=True, kw_only=True)
class PairDistances:
    """Distances between pairs of groups or rods, compared with the plan."""

    first: IntArray  # (q,) index in the input
    second: IntArray  # (q,)
    planned_mm: FloatArray  # (q,)
    deviation_mm: FloatArray  # (q,) as built less planned
    limit_mm: FloatArray  # (q,)
    within: BoolArray  # (q,)


@dataclass(frozen=True, slots=True, kw_only=True)
class ColumnLineAssessment:
    """Assessment of one column line's groups."""

    line: ColumnLine
    to_line_within: BoolArray  # (n,) 7.5.1(e)
    adjacent: PairDistances  # 7.5.1(b)
    accumulated: PairDistances  # 7.5.1(d), groups with at least one other between them


@dataclass(frozen=True, slots=True, kw_only=True)
class GroupAssessment:
    """Assessment of groups and rods against the plan, axis by axis."""

    centre_deviation_mm: FloatArray  # (g, 2)
    centre_within: BoolArray  # (g,) both axes
    rod_deviation_mm: FloatArray  # (r, 2) from the centre of its group
    rod_within: BoolArray  # (r,) both axes
    rod_pairs: PairDistances  # 7.5.1(a), every two rods of a group


def compute_group_centres(
    points_mm: npt.ArrayLike, group: npt.ArrayLike, n_groups: int | None = None
) -> FloatArray:
    """Compute the centre of each group, the mean of its rods.

    Parameters
    ----------
    points_mm : array, shape (r, 2)
        Rods; NaN where not determined. [mm]
    group : array of int, shape (r,)
        Group of each rod, from 0.
    n_groups : int, optional
        Number of groups.

    Returns
    -------
    array, shape (g, 2)
        NaN for a group with a rod not determined: the centre of the remaining rods
        would be another point. [mm]
    """
    points = np.asarray(points_mm, dtype=float)
    label = np.asarray(group, dtype=np.intp)
    size = max(int(label.max(initial=-1)) + 1, n_groups or 0)
    count = np.bincount(label, minlength=size)
    total = np.stack([np.bincount(label, c, minlength=size) for c in points.T], axis=1)
    centre = np.full((size, 2), np.nan)
    np.divide(total, count[:, None], out=centre, where=count[:, None] > 0)
    return centre


def assess_groups(
    planned_mm: npt.ArrayLike,
    as_built_mm: npt.ArrayLike,
    group: npt.ArrayLike,
    rules: GroupRules,
) -> GroupAssessment:
    """Assess rods within their groups, and groups against the plan.

    Parameters
    ----------
    planned_mm, as_built_mm : arrays, shape (r, 2)
        Rods in the axes of their position, along and in; NaN where not determined.
        [mm]
    group : array of int, shape (r,)
        Group of each rod, from 0.
    rules : GroupRules
        Limits of the tolerance basis.

    Returns
    -------
    GroupJudgement
    """
    planned = np.asarray(planned_mm, dtype=float)
    built = np.asarray(as_built_mm, dtype=float)
    label = np.asarray(group, dtype=np.intp)
    off = built - planned
    centre = compute_group_centres(off, label)
    from_centre = off - centre[label]
    return GroupAssessment(
        centre_deviation_mm=centre,
        centre_within=_both_axes_within(centre, rules.group_centre_mm),
        rod_deviation_mm=from_centre,
        rod_within=_both_axes_within(from_centre, rules.rod_from_group_centre_mm),
        rod_pairs=_assess_rod_pairs(planned, built, label, rules.within_group_mm),
    )


def fit_column_line(
    planned_mm: npt.ArrayLike,
    as_built_mm: npt.ArrayLike,
    direction: npt.ArrayLike,
    fit: LineFit = "least_squares",
) -> ColumnLine:
    """Fit the established column line to the centres of groups as built.

    Minimises either the sum of squared deviations across the line or the largest of
    them (minimax: if any line satisfies the rule, this one does).

    Parameters
    ----------
    planned_mm, as_built_mm : arrays, shape (n, 2)
        Centres of the groups along one column line, in any order; as built NaN where
        not determined. Plan axes. [mm]
    direction : array, shape (2,)
        Direction of the planned line, any length.
    fit : "least_squares" or "minimax"
        Criterion of the fit.

    Returns
    -------
    ColumnLine

    Raises
    ------
    DegenerateGeometryError
        If the direction has no length.
    """
    planned = np.asarray(planned_mm, dtype=float)
    off = np.asarray(as_built_mm, dtype=float) - planned
    way = np.asarray(direction, dtype=float)
    length = float(np.hypot(*way))
    if not length > 0:
        raise DegenerateGeometryError("A column line needs a direction.")
    unit = way / length
    along = (planned - planned[:1]) @ unit
    across = off @ np.array([-unit[1], unit[0]])
    known = ~np.isnan(across)
    solve = _fit_least_squares if fit == "least_squares" else _fit_minimax
    shift, slope = solve(along[known], across[known])
    deviation = across - shift - slope * along
    return ColumnLine(
        along_mm=along,
        deviation_mm=deviation,
        shift_mm=shift,
        slope=slope,
        largest_mm=float(np.max(np.abs(deviation[known]), initial=0.0)),
    )


def assess_column_line(
    planned_mm: npt.ArrayLike,
    as_built_mm: npt.ArrayLike,
    direction: npt.ArrayLike,
    rules: GroupRules,
    fit: LineFit = "least_squares",
) -> ColumnLineAssessment:
    """Assess the groups of one column line against each other and the fitted line.

    Neighbours are compared by the distance of their centres, accumulated spacing by
    the distance along the line.

    Parameters
    ----------
    planned_mm, as_built_mm : arrays, shape (n, 2)
        Centres of the groups, in any order; as built NaN where not determined. Plan
        axes. [mm]
    direction : array, shape (2,)
        Direction of the planned line, any length.
    rules : GroupRules
        Limits of the tolerance basis.
    fit : "least_squares" or "minimax"
        Criterion of the fit.

    Returns
    -------
    ColumnLineAssessment
    """
    planned = np.asarray(planned_mm, dtype=float)
    built = np.asarray(as_built_mm, dtype=float)
    line = fit_column_line(planned, built, direction, fit)
    order = np.argsort(line.along_mm, kind="stable").astype(np.intp)
    neighbour = np.hypot(*(planned[order[1:]] - planned[order[:-1]]).T)
    neighbour_built = np.hypot(*(built[order[1:]] - built[order[:-1]]).T)
    unit = np.asarray(direction, dtype=float) / float(np.hypot(*np.asarray(direction)))
    along_built = (built - planned[:1]) @ unit
    i, j = np.triu_indices(order.size, k=2)
    first, second = order[i], order[j]
    apart = line.along_mm[second] - line.along_mm[first]
    return ColumnLineAssessment(
        line=line,
        to_line_within=_within(line.deviation_mm, rules.group_to_line_mm),
        adjacent=_assess_pairs(
            order[:-1],
            order[1:],
            neighbour,
            neighbour_built - neighbour,
            np.full(neighbour.size, rules.adjacent_groups_mm),
        ),
        accumulated=_assess_pairs(
            first,
            second,
            apart,
            along_built[second] - along_built[first] - apart,
            rules.accumulated_limit(apart),
        ),
    )


def _within(deviation: FloatArray, limit: npt.ArrayLike) -> BoolArray:
    """Compare sizes with limits, the limit included; NaN is never within."""
    inside: BoolArray = np.abs(deviation) <= np.asarray(limit) + SLACK_MM
    return inside


def _both_axes_within(deviation: FloatArray, limit: float) -> BoolArray:
    """Check both axes, (n, 2) -> (n,)."""
    inside = _within(deviation, limit)
    both: BoolArray = inside[:, 0] & inside[:, 1]
    return both


def _assess_pairs(
    first: IntArray,
    second: IntArray,
    planned: FloatArray,
    deviation: FloatArray,
    limit: FloatArray,
) -> PairDistances:
    return PairDistances(
        first=first,
        second=second,
        planned_mm=planned,
        deviation_mm=deviation,
        limit_mm=limit,
        within=_within(deviation, limit),
    )


def _assess_rod_pairs(
    planned: FloatArray, built: FloatArray, label: IntArray, limit: float
) -> PairDistances:
    """Compare the distance of every two rods of a group with the plan."""
    order = np.argsort(label, kind="stable").astype(np.intp)
    sorted_label = label[order]
    most = int(np.bincount(label).max(initial=0))
    # After sorting, the rods of a group are neighbours: pairing each with the next,
    # the one after and so on up to the size of the largest group lists every pair
    # without a loop over groups.
    steps = [
        np.stack([order[:-step], order[step:]])[
            :, sorted_label[:-step] == sorted_label[step:]
        ]
        for step in range(1, most)
    ]
    first, second = np.concatenate([np.empty((2, 0), dtype=np.intp), *steps], axis=1)
    distance = np.hypot(*(planned[second] - planned[first]).T)
    as_built = np.hypot(*(built[second] - built[first]).T)
    size = np.full(first.size, limit)
    return _assess_pairs(first, second, distance, as_built - distance, size)


def _fit_least_squares(along: FloatArray, across: FloatArray) -> tuple[float, float]:
    """Fit shift and slope by least squares; a single group has slope 0."""
    if not along.size:
        return float("nan"), float("nan")
    middle, height = along.mean(), across.mean()
    run = along - middle
    square = float(run @ run)
    slope = float(run @ across) / square if square > 0 else 0.0
    return float(height - slope * middle), slope


def _fit_minimax(along: FloatArray, across: FloatArray) -> tuple[float, float]:
    """Fit shift and slope with the least largest deviation, by linear programming.

    Minimise h with -h <= across - shift - slope * along <= h.
    """
    from scipy.optimize import linprog

    if along.size < 3 or not np.ptp(along) > 0:
        return _fit_least_squares(along, across)
    # Scaled by the length of the line: the solver sees slope and shift of one size.
    scale = float(np.ptp(along))
    run = (along - along.mean()) / scale
    ones = np.ones(along.size)
    above = np.column_stack([-ones, -run, -ones])
    below = np.column_stack([ones, run, -ones])
    found = linprog(
        [0.0, 0.0, 1.0],
        A_ub=np.vstack([above, below]),
        b_ub=np.concatenate([-across, across]),
        bounds=[(None, None), (None, None), (0.0, None)],
        method="highs",
    )
    slope = float(found.x[1]) / scale
    return float(found.x[0] - slope * along.mean()), slope
