"""Pads: heights from grade-rod readings, shim stacks, the pack list, the high pad."""

from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from checks.engine import uncertainty
from checks.engine.arrays import BoolArray, FloatArray, IntArray
from checks.engine.conformity import COVERAGE_FACTOR, SLACK_MM
from checks.engine.levelling import levels, shims
from checks.evaluation.check_table import CheckTable
from checks.evaluation.json_values import to_json_number
from checks.evaluation.reduce_readings import Observations
from checks.tolerances.limits import ToleranceLimits
from jobs.anchor_plan.check_keys import CheckKind
from jobs.anchor_plan.values import Plan, ReadingValue

MIN_SIGMA_MM = 1e-3
"""No grade rod is read better than this, however near it stands. Ours."""


@dataclass(frozen=True, slots=True, kw_only=True)
class PadLevels:
    """Every pad of the plan, in order; heights from the highest. [mm]

    `height` is NaN where the pad was not read, or from a set-up that nothing ties
    to the others (`untied`). `shim` is NaN where none is needed or none helps.
    `closes` says whether the misclosure keeps its limit, `ties` which checks, read
    more than once, it comes from, and `setups` from which set-ups.
    """

    rows: IntArray
    height: FloatArray
    sigma: FloatArray
    not_tied: BoolArray
    needs_shim: BoolArray
    too_low: BoolArray
    shim: FloatArray
    counts: IntArray
    pad_to_lower: dict[str, Any] | None
    misclosure: float
    levels_close: bool
    tie_checks: tuple[str, ...]
    tie_setups: tuple[str, ...]
    redundancy: int


def reduce_levels(
    plan: Plan, table: CheckTable, observations: Observations, limits: ToleranceLimits
) -> PadLevels:
    """Heights of all pads by least squares over every set-up, and their shims.

    With guarded acceptance a pad is low, and shimmed, as its verdict has it: by the
    limit less the expanded uncertainty. A stack is good that leaves the pad within
    the limit itself.
    """
    rows = table.rows(CheckKind.LEVEL)
    height, sigma, untied, misclosure, redundancy = _adjust_heights(
        plan, table, observations, rows
    )
    ties, setups = _find_ties(table, observations)
    limit, up_to = limits.pad_level(), limits.shim_up_to()
    guard = COVERAGE_FACTOR * np.nan_to_num(sigma) if limits.guarded else 0.0
    low = height < -(limit - guard + SLACK_MM)
    too_low = height < -(up_to + SLACK_MM)
    needs = low & ~too_low
    thickness = np.array([float(shim.mm) for shim in plan.shim_thicknesses])
    shim = np.full(rows.size, np.nan)
    counts = np.zeros((rows.size, thickness.size), dtype=int)
    if needs.any() and thickness.size:
        stacks = shims.find_shim_stacks(-height[needs], thickness)
        good = np.abs(stacks.total_mm + height[needs]) <= limit + SLACK_MM
        shim[needs] = np.where(good, stacks.total_mm, np.nan)
        counts[needs] = np.where(good[:, None], stacks.counts, 0)
    return PadLevels(
        rows=rows,
        height=height,
        sigma=sigma,
        not_tied=untied,
        needs_shim=needs,
        too_low=too_low,
        shim=shim,
        counts=counts,
        pad_to_lower=_find_pad_to_lower(table, rows, height, limit),
        misclosure=misclosure,
        levels_close=misclosure <= limits.level_misclosure() + SLACK_MM,
        tie_checks=ties,
        tie_setups=setups,
        redundancy=redundancy,
    )


def compare_level_repeats(
    plan: Plan, table: CheckTable, observations: Observations
) -> Observations:
    """Hold grade-rod readings of one point against each other, set-up by set-up.

    Readings from different set-ups say nothing of each other by themselves; what they
    say together is the misclosure. The spread of a point is that of its worst set-up.
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
    repeats = uncertainty.combine_repeats(
        group,
        len(groups),
        np.array([r.value for _, r in readings], dtype=float),
        level_uncertainty_parts(plan, readings, sight),
    )
    of = np.array([row for row, _ in groups])
    order = np.lexsort((repeats.spread_mm - repeats.spread_limit_mm, of))
    worst = order[np.append(of[order][1:] != of[order][:-1], True)]
    spread[of[worst]] = repeats.spread_mm[worst]
    limit[of[worst]] = repeats.spread_limit_mm[worst]
    disagree[rows] = False
    disagree[of[repeats.disagree]] = True
    return replace(observations, spread=spread, spread_limit=limit, disagree=disagree)


def _find_ties(
    table: CheckTable, observations: Observations
) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """The checks read from several set-ups, else those repeated; and the set-ups."""
    read = [
        (table.checks[row].key, [r.setup for r in observations.readings[row]])
        for row in table.rows(CheckKind.LEVEL, CheckKind.BENCHMARK)
    ]
    ties = [(key, names) for key, names in read if len(set(names)) > 1]
    ties = ties or [(key, names) for key, names in read if len(names) > 1]
    setups = dict.fromkeys(name for _, names in ties for name in names)
    return tuple(key for key, _ in ties), tuple(setups)


def _adjust_heights(
    plan: Plan, table: CheckTable, observations: Observations, rows: IntArray
) -> tuple[FloatArray, FloatArray, BoolArray, float, int]:
    """Heights from the highest pad, their uncertainty, and which are untied."""
    points = [*rows.tolist(), *table.rows(CheckKind.BENCHMARK).tolist()]
    place = {row: i for i, row in enumerate(points)}
    readings: list[tuple[int, ReadingValue]] = [
        (place[row], reading)
        for row in points
        for reading in observations.readings[row]
    ]
    nothing = np.full(rows.size, np.nan)
    none_untied = np.zeros(rows.size, dtype=bool)
    if not readings:
        return nothing, nothing, none_untied, 0.0, 0
    setups = {
        name: i for i, name in enumerate(dict.fromkeys(r.setup for _, r in readings))
    }
    sight = np.array([_nan_if_none(r.sight_distance) for _, r in readings], dtype=float)
    point = np.array([i for i, _ in readings], dtype=int)
    adjusted = levels.adjust_levels(
        np.array([r.value for _, r in readings], dtype=float),
        np.array([setups[r.setup] for _, r in readings], dtype=int),
        point,
        _reading_sigma(plan, readings, sight),
        sight_mm=sight,
        collimation_rad=_collimation_errors(plan, readings),
        n_points=len(points),
    )
    component = adjusted.component[: rows.size]
    read = component >= 0
    misclosure = max(
        adjusted.misclosure_mm, _largest_repeat_difference(readings, setups, point)
    )
    if not read.any():
        return nothing, nothing, none_untied, misclosure, adjusted.degrees_of_freedom
    main = np.bincount(component[read]).argmax()
    usable = component == main
    top = int(np.flatnonzero(usable)[adjusted.height_mm[: rows.size][usable].argmax()])
    height, sigma = adjusted.relative_to(top)
    return (
        np.where(usable, height[: rows.size], np.nan),
        np.where(usable, sigma[: rows.size], np.nan),
        read & ~usable,
        misclosure,
        adjusted.degrees_of_freedom,
    )


def _largest_repeat_difference(
    readings: list[tuple[int, ReadingValue]], setups: dict[str, int], point: IntArray
) -> float:
    """Widest difference between readings of one point in one set-up. [mm]"""
    value = np.array([r.value for _, r in readings])
    setup = np.array([setups[r.setup] for _, r in readings])
    _, group = np.unique(setup * (point.max() + 1) + point, return_inverse=True)
    high = np.full(group.max() + 1, -np.inf)
    low = np.full(group.max() + 1, np.inf)
    np.maximum.at(high, group, value)
    np.minimum.at(low, group, value)
    return float((high - low).max())


def _nan_if_none(value: float | None) -> float:
    return float("nan") if value is None else value


def _reading_sigma(
    plan: Plan, readings: list[tuple[int, ReadingValue]], sight: FloatArray
) -> FloatArray:
    """Standard uncertainty each grade-rod reading is weighed by. [mm]

    The resolution is the same for all, the root mean square of theirs, so that the
    heights do not depend on the unit a reading was typed in.
    """
    parts = level_uncertainty_parts(plan, readings, sight)
    alike = np.mean(parts.resolution_mm**2)
    sigma = np.sqrt(parts.level_mm**2 + alike)
    return np.asarray(np.maximum(sigma, MIN_SIGMA_MM), dtype=np.float64)


def level_uncertainty_parts(
    plan: Plan, readings: list[tuple[int, ReadingValue]], sight: FloatArray
) -> uncertainty.UncertaintyParts:
    """Standard uncertainty of each grade-rod reading, by cause. [mm]

    Parameters
    ----------
    plan : for its instruments.
    readings : n rows and their readings.
    sight : array, shape (n,)
        From level to rod; NaN where it was not noted. [mm]
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


def _collimation_errors(
    plan: Plan, readings: list[tuple[int, ReadingValue]]
) -> FloatArray:
    """Each reading's collimation error, line of sight up positive. [rad]

    A set-up is of one level: a reading that names none was taken with the one that
    the others of its set-up name, where they name but one.
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
    table: CheckTable, rows: IntArray, height: FloatArray, limit: float
) -> dict[str, Any] | None:
    """The one high pad whose lowering would save most of the shims, if there is one."""
    known = ~np.isnan(height)
    found = shims.find_pad_to_lower(height[known], limit)
    if found is None:
        return None
    row = rows[np.flatnonzero(known)[found.index]]
    return {
        "mark": table.checks[row].mark,
        "lower_by": float(found.lower_by_mm),
        "shims_saved": int(found.shims_saved),
    }


def list_shim_stack(plan: Plan, counts: IntArray) -> list[str]:
    """The plates of one stack as the document writes them, thickest first."""
    order = sorted(
        range(len(plan.shim_thicknesses)),
        key=lambda i: plan.shim_thicknesses[i].mm,
        reverse=True,
    )
    return [plan.shim_thicknesses[i].text for i in order for _ in range(counts[i])]


def _misclosure_verdict(pads: PadLevels) -> str:
    """Whether the set-ups close on each other."""
    if not pads.redundancy:
        return "unmeasured"
    return "within" if pads.levels_close else "remeasure"


def levels_result(
    plan: Plan,
    table: CheckTable,
    pads: PadLevels,
    words: np.ndarray,
    thread: FloatArray,
    misclosure_limit: float | None,
) -> dict[str, Any]:
    """The result document's `levels`."""
    listed = []
    for i, row in enumerate(pads.rows):
        height, shim = to_json_number(pads.height[i]), to_json_number(pads.shim[i])
        if words[row] == "within":
            shim = 0.0
        listed.append(
            {
                "mark": table.checks[row].mark,
                "height": height,
                "verdict": str(words[row]),
                "shim": shim,
                "stack": list_shim_stack(plan, pads.counts[i]),
                "residual": None if shim is None or height is None else height + shim,
                "thread_left": to_json_number(thread[i]),
            }
        )
    order = sorted(plan.shim_thicknesses, key=lambda t: t.mm, reverse=True)
    total = pads.counts.sum(axis=0)
    amount = dict(zip((t.text for t in plan.shim_thicknesses), total, strict=True))
    known = ~np.isnan(pads.height)
    highest = (
        table.checks[pads.rows[np.nanargmax(pads.height)]].mark if known.any() else None
    )
    return {
        "misclosure": pads.misclosure,
        "misclosure_limit": misclosure_limit,
        "verdict": _misclosure_verdict(pads),
        "redundancy": pads.redundancy,
        "highest": highest,
        "pads": listed,
        "pack_list": [
            {"thickness": t.text, "count": int(amount[t.text])}
            for t in order
            if amount[t.text]
        ],
        "lower_pad": pads.pad_to_lower,
    }
