"""One building, evaluated whole: the one way from readings to a result document.

`judge_building` computes; `evaluate` writes what it computed as `padstone.result/1`.
"""

from collections.abc import Sequence
from typing import Any

import numpy as np

from checks.engine import cautions
from checks.engine.arrays import BoolArray, FloatArray
from checks.evaluation import (
    computed_findings,
    concrete_strength,
    pad_levels,
    squareness,
)
from checks.evaluation.building_evaluation import BuildingEvaluation
from checks.evaluation.cause_search import find_likely_causes
from checks.evaluation.check_limits import (
    CheckBounds,
    assign_verdicts,
    compute_bounds,
    nominal_strength,
)
from checks.evaluation.check_table import CheckTable, RodTable
from checks.evaluation.group_rules import evaluate_group_rules
from checks.evaluation.reduce_readings import Observations, reduce_readings
from checks.evaluation.result_rows import build_check_rows, build_position_rows
from checks.evaluation.rod_positions import (
    assign_rod_verdicts,
    fit_patterns,
    solve_rods,
)
from checks.evaluation.rod_threads import compute_pad_threads, compute_rod_threads
from checks.evaluation.steel_shift_options import find_steel_shifts
from checks.evaluation.version import MADE_WITH
from checks.tolerances.limits import resolve_limits
from core.units import LengthStyle
from jobs.anchor_plan.check_keys import CheckKind
from jobs.anchor_plan.values import BuildingInput, Plan

FORMAT = "padstone.result/1"
LENGTH_STYLES: dict[str, LengthStyle] = {"in": "imperial", "ft": "imperial"}


def evaluate(building: BuildingInput) -> dict[str, Any]:
    """Evaluate one building and write the result document.

    Parameters
    ----------
    building : the plan and its readings, as `jobs.exchange.input.parser` reads them.

    Returns
    -------
    dict
        `padstone.result/1`: lengths in mm, angles in rad, strengths in MPa.
    """
    return _write_result(compute_evaluation(building))


def compute_evaluation(building: BuildingInput) -> BuildingEvaluation:
    """Compute everything there is to know of one building."""
    plan = building.plan
    limits = resolve_limits(plan.tolerances)
    table, rods = CheckTable(building), RodTable(plan)
    bounds = compute_bounds(plan, table, rods, limits)
    observations = reduce_readings(building, table)
    observations = pad_levels.compare_level_repeats(plan, table, observations)
    observations = concrete_strength.flag_invalid_samples(plan, table, observations)
    pads = pad_levels.reduce_levels(plan, table, observations, limits)
    heights = _set_plumb_bounds(table, observations, bounds, limits.plumb())
    value, sigma, nominal = _collect_values(plan, table, observations, pads)
    deviation = value - nominal
    verdicts = assign_verdicts(
        deviation, bounds, observations, sigma=sigma, guarded=limits.guarded
    )
    square = squareness.compute_squareness(plan, table, observations, limits)
    as_built = solve_rods(table, rods, observations)
    rod_words = assign_rod_verdicts(table, rods, as_built, limits, verdicts.verdict)
    doubtful = _find_remedy_positions(table, rods, verdicts.verdict, rod_words)
    groups = fit_patterns(rods, as_built, limits, doubtful)
    threads = compute_rod_threads(plan, table, rods, observations)
    evaluation = BuildingEvaluation(
        plan=plan,
        limits=limits,
        style=LENGTH_STYLES.get(plan.length_unit, "metric"),
        table=table,
        rods=rods,
        observations=observations,
        bounds=bounds,
        nominal=nominal,
        deviation=deviation,
        value=value,
        sigma=sigma,
        plumb_heights=heights,
        verdicts=verdicts.verdict,
        probability=verdicts.probability,
        close_to_limit=verdicts.close_to_limit,
        squareness=square,
        as_built=as_built,
        rod_verdicts=rod_words,
        pattern_fits=groups,
        pads=pads,
        rod_threads=threads,
        pad_threads=compute_pad_threads(table, rods, threads, pads),
        concrete=concrete_strength.evaluate_concrete(plan, table, observations, limits),
        group_rules=evaluate_group_rules(rods, as_built, limits),
        steel_shifts=find_steel_shifts(plan, rods, as_built, groups),
        causes=(),
    )
    return evaluation.with_causes(find_likely_causes(evaluation))


def _set_plumb_bounds(
    table: CheckTable, observations: Observations, bounds: CheckBounds, ratio: float
) -> FloatArray:
    """Set the plumb limits from the height each reading names; give those heights."""
    heights = np.full(len(table), np.nan)
    for row in table.rows(CheckKind.PLUMB):
        known = [r.height for r in observations.readings[row] if r.height is not None]
        if known:
            heights[row] = max(known)
    rows = table.rows(CheckKind.PLUMB)
    bounds.upper[rows] = heights[rows] * ratio
    bounds.lower[rows] = -bounds.upper[rows]
    return heights


def _collect_values(
    plan: Plan,
    table: CheckTable,
    observations: Observations,
    pads: pad_levels.PadLevels,
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Observed value, uncertainty and nominal of every check; heights for pads."""
    value = observations.value.copy()
    sigma = observations.uncertainty.copy()
    nominal = table.nominal.copy()
    value[pads.rows] = pads.height
    sigma[pads.rows] = pads.sigma
    nominal[pads.rows] = 0.0
    benchmarks = table.rows(CheckKind.BENCHMARK)
    nominal[benchmarks] = value[benchmarks]
    samples = table.rows(CheckKind.STRENGTH)
    value[samples] = [
        concrete_strength.latest_sample_mean(plan, observations, row) for row in samples
    ]
    nominal[samples] = nominal_strength(plan)
    sigma[samples] = np.nan
    return value, sigma, nominal


def _find_remedy_positions(
    table: CheckTable, rods: RodTable, words: np.ndarray, rod_words: Sequence[str]
) -> BoolArray:
    """Positions with a line, setback, offset, gage or rod that is not within."""
    doubtful = np.zeros(len(rods.groups), dtype=bool)
    doubtful[rods.position[np.isin(rod_words, computed_findings.FAILING_VERDICTS)]] = (
        True
    )
    rows = table.rows(*computed_findings.POSITION_KINDS)
    doubtful[
        table.position[rows[np.isin(words[rows], computed_findings.FAILING_VERDICTS)]]
    ] = True
    return doubtful


def _write_result(evaluation: BuildingEvaluation) -> dict[str, Any]:
    plan = evaluation.plan
    found = computed_findings.compute_findings(evaluation)
    return {
        "format": FORMAT,
        "building": plan.name,
        "evaluated_with": MADE_WITH,
        "tolerances": evaluation.limits.as_result(),
        "checks": build_check_rows(evaluation),
        "squareness": squareness.squareness_result(
            plan, evaluation.table, evaluation.squareness
        ),
        "positions": build_position_rows(evaluation),
        "group_rules": [rule.as_result() for rule in evaluation.group_rules],
        "steel_shifts": [shift.as_result() for shift in evaluation.steel_shifts],
        "levels": pad_levels.levels_result(
            plan,
            evaluation.table,
            evaluation.pads,
            evaluation.verdicts,
            evaluation.pad_threads,
            evaluation.limits.level_misclosure(),
        ),
        "concrete": concrete_strength.concrete_result(
            plan, evaluation.concrete, evaluation.limits
        ),
        "findings": [finding.as_result() for finding in found],
        "cautions": _list_cautions(plan),
    }


def _list_cautions(plan: Plan) -> list[str]:
    """The standing cautions of a building, whatever its verdicts."""
    used = {position.detail for position in plan.positions}
    short = any(len(plan.details[name].rods) < 4 for name in used)
    return [cautions.SCREENING, cautions.NOTICES, *([cautions.FOUR_RODS] * short)]
