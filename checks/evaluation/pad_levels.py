"""Pad levels: heights from grade-rod readings, shim stacks, the pad to lower."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from checks.engine import uncertainty
from checks.engine.arrays import BoolArray, FloatArray, IntArray
from checks.engine.conformity import COVERAGE_FACTOR, SLACK_MM
from checks.engine.levelling import levels, shims
from checks.engine.levelling.datum import PadDatum, estimate_datum
from checks.engine.levelling.high_pad import find_pad_to_lower
from checks.evaluation.check_limits import CheckVerdicts
from checks.evaluation.check_table import CheckTable
from checks.evaluation.reduce_readings import Observations
from checks.evaluation.repeat_selection import (
    CorrectedReadings,
    combine_agreeing,
    list_set_aside,
)
from checks.evaluation.verdicts import fill_verdicts
from checks.tolerances.limits import ToleranceLimits
from core.vocabulary import Verdict
from jobs.anchor_plan.check_keys import CheckKind
from jobs.anchor_plan.values import Plan, ReadingValue
from jobs.exchange.result.findings import LoweredPadResult

MIN_SIGMA_MM = 1e-4
"""No grade rod is read better than this, however near it stands. Project choice."""

GUARDED_PROBABILITY = 0.97725
"""Of lying within under guarded acceptance: the normal distribution up to 2 sigma."""

PointReadings = Sequence[tuple[int, ReadingValue]]
"""Readings, each with the index of its pad or benchmark."""


@dataclass(frozen=True, slots=True, kw_only=True)
class PadLevels:
    """Every pad of the plan, in order; heights from the highest pad. [mm]

    Attributes
    ----------
    height : below the highest pad as far as the level can tell it (`datum`); NaN where
        the pad was not read, or only from a set-up that nothing ties to the others.
    as_read : height as read, from the expected highest pad; above it where positive.
    sigma : standard uncertainty of a reading against the datum.
    probability : of lying within the limit below the highest.
    datum_sigma : standard uncertainty of the datum itself.
    low : whether the pad is below the limit, or not safely within it where acceptance
        is guarded.
    tells_apart : difference of two pads that their readings tell apart, at twice the
        uncertainty.
    shim : total thickness; NaN where no shim is needed or none helps.
    counts : (n_pads, n_thicknesses) shim plates of each thickness.
    levels_close : whether the misclosure keeps its limit.
    tie_checks, tie_setups : the checks read more than once that the misclosure comes
        from, and their set-ups.
    """

    rows: IntArray
    height: FloatArray
    as_read: FloatArray
    sigma: FloatArray
    probability: FloatArray
    datum_sigma: float
    tells_apart: float
    limit: float
    low: BoolArray
    shim: FloatArray
    counts: IntArray
    pad_to_lower: LoweredPadResult | None
    misclosure: float
    levels_close: bool
    tie_checks: tuple[str, ...]
    tie_setups: tuple[str, ...]
    redundancy: int

    @property
    def alike_count(self) -> int:
        """Return the number of pads that cannot be told from the highest."""
        known = ~np.isnan(self.height)
        reach = COVERAGE_FACTOR * self.sigma[known]
        return int(np.sum(-self.as_read[known] <= reach + SLACK_MM))

    @property
    def needs_better_level(self) -> bool:
        """Return True where two pads cannot be told apart to within the limit."""
        return self.tells_apart > self.limit + SLACK_MM


def reduce_levels(
    plan: Plan, table: CheckTable, observations: Observations, limits: ToleranceLimits
) -> PadLevels:
    """Compute the heights of all pads over every set-up, and their shims.

    With guarded acceptance a pad is low, and shimmed, unless it is within with the
    probability that twice the uncertainty stands for. A stack is accepted that leaves
    the pad within the limit itself.
    """
    rows = table.rows(CheckKind.LEVEL)
    read = _adjust_heights(plan, table, observations, rows)
    datum = estimate_datum(read.height, read.sigma, limits.pad_level())
    height = -datum.depth_mm + 0.0  # no negative zero
    ties, setups = _find_ties(table, observations)
    limit, up_to = limits.pad_level(), limits.shim_up_to()
    low = height < -(limit + SLACK_MM)
    if limits.guarded:
        low |= datum.probability_within < GUARDED_PROBABILITY
    needs_shim = low & (height >= -(up_to + SLACK_MM))
    thickness = np.array([float(shim.mm) for shim in plan.shim_thicknesses])
    shim = np.full(rows.size, np.nan)
    counts = np.zeros((rows.size, thickness.size), dtype=int)
    if needs_shim.any() and thickness.size:
        stacks = shims.find_shim_stacks(-height[needs_shim], thickness)
        good = np.abs(stacks.total_mm + height[needs_shim]) <= limit + SLACK_MM
        shim[needs_shim] = np.where(good, stacks.total_mm, np.nan)
        counts[needs_shim] = np.where(good[:, None], stacks.counts, 0)
    return PadLevels(
        rows=rows,
        height=height,
        as_read=read.height - datum.datum_mm,
        sigma=datum.sigma_mm,
        probability=datum.probability_within,
        datum_sigma=datum.datum_sigma_mm,
        tells_apart=_tell_apart(read.sigma),
        limit=limit,
        low=low,
        shim=shim,
        counts=counts,
        pad_to_lower=_find_pad_to_lower(table, rows, read, datum, limit),
        misclosure=read.misclosure,
        levels_close=read.misclosure <= limits.level_misclosure() + SLACK_MM,
        tie_checks=ties,
        tie_setups=setups,
        redundancy=read.redundancy,
    )


def assign_pad_verdicts(verdicts: CheckVerdicts, pads: PadLevels) -> None:
    """Assign the pads the verdicts and probabilities that the datum gives them.

    Any pad may be the highest: no normal distribution of one height tells this. A
    verdict on the readings themselves (unmeasured, contradicting) stays.
    """
    verdicts.probability[pads.rows] = pads.probability
    decided = np.isin(
        verdicts.verdict[pads.rows], [Verdict.WITHIN.value, Verdict.OUTSIDE.value]
    )
    rows = pads.rows[decided]
    verdicts.verdict[rows] = fill_verdicts(~pads.low[decided])


def _tell_apart(sigma: FloatArray) -> float:
    """Return what the readings of two pads tell apart, for a pad in the middle. [mm]"""
    read = sigma[~np.isnan(sigma)]
    middle = float(np.median(read)) if read.size else 0.0
    return COVERAGE_FACTOR * float(np.sqrt(2.0)) * middle


def compare_level_repeats(
    plan: Plan, table: CheckTable, observations: Observations
) -> Observations:
    """Compare the grade-rod readings of each point, set-up by set-up.

    Readings from different set-ups cannot be compared directly: their differences show
    in the misclosure. The spread of a point is that of its worst set-up. A reading that
    two others of its set-up outweigh is set aside; a pad whose readings contradict has
    no height. A benchmark that contradicts itself stays: its set-up was knocked, and
    the misclosure shows by how much.
    """
    spread, limit = observations.spread.copy(), observations.spread_limit.copy()
    disagree = observations.disagree.copy()
    rows = table.rows(CheckKind.LEVEL, CheckKind.BENCHMARK)
    rows = rows[observations.count[rows] > 1]
    readings = [(int(row), each) for row in rows for each in observations.readings[row]]
    if not readings:
        return observations
    groups: dict[tuple[int, str], int] = {}
    group = [groups.setdefault((row, r.setup), len(groups)) for row, r in readings]
    sight = np.array([_nan_if_none(r.sight_distance) for _, r in readings])
    reduction = CorrectedReadings(
        np.array(group, dtype=int),
        np.array([r.value for _, r in readings], dtype=float),
        level_uncertainty_parts(plan, readings, sight),
        np.zeros((len(readings), 0)),
    )
    repeats, kept = combine_agreeing(reduction, np.ones(len(groups), dtype=bool))
    row_of = np.array([row for row, _ in groups])
    order = np.lexsort((repeats.spread_mm - repeats.spread_limit_mm, row_of))
    ordered = row_of[order]
    worst = order[np.append(ordered[1:] != ordered[:-1], True)]
    spread[row_of[worst]] = repeats.spread_mm[worst]
    limit[row_of[worst]] = repeats.spread_limit_mm[worst]
    # Replaces the verdict of `reduce_readings`, which knows no set-ups.
    disagree[rows] = False
    disagree[row_of[repeats.disagree]] = True
    contributing = observations.contributing.copy()
    pads = table.rows(CheckKind.LEVEL)
    contributing[pads[disagree[pads]]] = 0
    listed = [reading for _, reading in readings]
    aside = list_set_aside(listed, reduction, kept, repeats.mean_mm)
    by_row = {int(row_of[at]): each for at, each in aside.items()}
    return replace(
        observations,
        spread=spread,
        spread_limit=limit,
        disagree=disagree,
        contributing=contributing,
        set_aside={**observations.set_aside, **by_row},
    )


def _find_ties(
    table: CheckTable, observations: Observations
) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """Return the checks read from several set-ups, else those repeated; and set-ups."""
    setups_of = [
        (table.checks[row].key, [r.setup for r in observations.readings[row]])
        for row in table.rows(CheckKind.LEVEL, CheckKind.BENCHMARK)
    ]
    ties = [(key, names) for key, names in setups_of if len(set(names)) > 1]
    ties = ties or [(key, names) for key, names in setups_of if len(names) > 1]
    setups = dict.fromkeys(name for _, names in ties for name in names)
    return tuple(key for key, _ in ties), tuple(setups)


@dataclass(frozen=True, slots=True)
class _ReadHeights:
    """Heights of the pads as read, from any one level. [mm]"""

    height: FloatArray  # (n_pads,) NaN without one
    sigma: FloatArray  # (n_pads,) without what all pads have in common
    misclosure: float
    redundancy: int


def _adjust_heights(
    plan: Plan, table: CheckTable, observations: Observations, rows: IntArray
) -> _ReadHeights:
    """Adjust the heights of the pads over every set-up.

    Pads that nothing ties to the largest group of tied pads have no height: they have
    another datum, which cannot be compared.
    """
    point_rows = [*rows.tolist(), *table.rows(CheckKind.BENCHMARK).tolist()]
    readings = [
        (point, reading)
        for point, row in enumerate(point_rows)
        for reading in observations.list_contributing(row)
    ]
    unknown = np.full(rows.size, np.nan)
    if not readings:
        return _ReadHeights(unknown, unknown, 0.0, 0)
    names = dict.fromkeys(reading.setup for _, reading in readings)
    setup_index = {name: i for i, name in enumerate(names)}
    setup = np.array([setup_index[reading.setup] for _, reading in readings], dtype=int)
    point = np.array([point for point, _ in readings], dtype=int)
    value = np.array([reading.value for _, reading in readings], dtype=float)
    sight = np.array([_nan_if_none(r.sight_distance) for _, r in readings], dtype=float)
    adjustment = levels.adjust_levels(
        value,
        setup,
        point,
        _reading_sigma(plan, readings, sight),
        sight_mm=sight,
        collimation_rad=_collimation_errors(plan, readings),
        n_points=len(point_rows),
    )
    redundancy = adjustment.degrees_of_freedom
    repeats = _largest_repeat_difference(value, setup, point)
    # A repeat within one set-up is a loop, too, though the network does not see it.
    # So is that of a pad left out because its readings contradict.
    spread = observations.spread[rows[observations.contradicted[rows]]]
    misclosure = max(adjustment.misclosure_mm, repeats, spread.max(initial=0.0))
    component = adjustment.component[: rows.size]
    read = component >= 0
    if not read.any():
        return _ReadHeights(unknown, unknown, misclosure, redundancy)
    # Heights of separate groups cannot be compared: the largest group is used.
    tied = component == np.bincount(component[read]).argmax()
    return _ReadHeights(
        np.where(tied, adjustment.height_mm[: rows.size], np.nan),
        np.where(tied, adjustment.own_sigma_mm[: rows.size], np.nan),
        misclosure,
        redundancy,
    )


def _largest_repeat_difference(
    value: FloatArray, setup: IntArray, point: IntArray
) -> float:
    """Return the largest difference of readings of one point in one set-up. [mm]"""
    _, group = np.unique(setup * (point.max() + 1) + point, return_inverse=True)
    high = np.full(group.max() + 1, -np.inf)
    low = np.full(group.max() + 1, np.inf)
    np.maximum.at(high, group, value)
    np.minimum.at(low, group, value)
    return float((high - low).max())


def _nan_if_none(value: float | None) -> float:
    return float("nan") if value is None else value


def _reading_sigma(
    plan: Plan, readings: PointReadings, sight: FloatArray
) -> FloatArray:
    """Return the standard uncertainty that weights each grade-rod reading. [mm]"""
    parts = level_uncertainty_parts(plan, readings, sight)
    # One resolution for all, so that the unit a reading was typed in does not matter.
    resolution = np.mean(parts.resolution_mm**2)
    sigma = np.sqrt(parts.level_mm**2 + resolution)
    return np.asarray(np.maximum(sigma, MIN_SIGMA_MM), dtype=np.float64)


def level_uncertainty_parts(
    plan: Plan, readings: PointReadings, sight: FloatArray
) -> uncertainty.UncertaintyParts:
    """Return the standard uncertainty of each grade-rod reading, by cause. [mm]

    Parameters
    ----------
    plan : for its instruments.
    readings : n readings.
    sight : array, shape (n,)
        Distance from level to rod; NaN where not noted. [mm]
    """
    tools = [plan.instruments.get(r.instrument or "") for _, r in readings]
    stated = np.array(
        [
            _nan_if_none(None if tool is None else tool.standard_uncertainty)
            for tool in tools
        ],
        dtype=float,
    )
    resolution = np.array([r.resolution for _, r in readings], dtype=float)
    return uncertainty.level_uncertainty(sight, resolution, stated)


def _collimation_errors(plan: Plan, readings: PointReadings) -> FloatArray:
    """Return each reading's collimation error, line of sight up positive. [rad]

    A set-up uses one level: a reading that names no instrument was taken with the one
    that the other readings of its set-up name, where they name only one.
    """
    named: dict[str, set[str]] = {}
    for _, reading in readings:
        if reading.instrument:
            named.setdefault(reading.setup, set()).add(reading.instrument)
    tools = []
    for _, reading in readings:
        others = named.get(reading.setup, set())
        alone = next(iter(others)) if len(others) == 1 else ""
        tools.append(plan.instruments.get(reading.instrument or alone))
    return np.array(
        [0.0 if tool is None else (tool.collimation or 0.0) for tool in tools],
        dtype=float,
    )


def _find_pad_to_lower(
    table: CheckTable, rows: IntArray, read: _ReadHeights, datum: PadDatum, limit: float
) -> LoweredPadResult | None:
    """Return the one high pad whose lowering would save most of the shims, if any."""
    pad = find_pad_to_lower(read.height, read.sigma, limit, datum)
    if pad is None:
        return None
    return {
        "mark": table.checks[rows[pad.index]].mark or "",
        "lower_by": float(pad.lower_by_mm),
        "shims_saved": int(pad.shims_saved),
    }


def list_shim_stack(plan: Plan, counts: IntArray) -> list[str]:
    """List the plates of one stack as the plan writes them, thickest first."""
    number = counts.tolist()
    if not any(number):
        return []
    order = sorted(
        range(len(plan.shim_thicknesses)),
        key=lambda i: plan.shim_thicknesses[i].mm,
        reverse=True,
    )
    return [plan.shim_thicknesses[i].text for i in order for _ in range(number[i])]
