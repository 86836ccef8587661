"""One building, evaluated whole: the one way from readings to a result document.

`judge_building` computes; `evaluate` writes what it computed as `padstone.result/1`.
"""

from collections.abc import Sequence
from typing import Any

import numpy as np

from checks import tolerances
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
    limits = tolerances.resolve_limits(plan.tolerances)
    table, rods = CheckTable(building), RodTable(plan)
    bounds = compute_bounds(plan, table, rods, limits)
    observed = reduce_readings(building, table)
    observed = pad_levels.compare_level_repeats(plan, table, observed)
    observed = concrete_strength.flag_invalid_samples(plan, table, observed)
    pads = pad_levels.reduce_levels(plan, table, observed, limits)
    heights = _set_plumb_bounds(table, observed, bounds, limits.plumb())
    value, sigma, nominal = _collect_values(plan, table, observed, pads)
    deviation = value - nominal
    verdicts = assign_verdicts(
        deviation, bounds, observed, sigma=sigma, guarded=limits.guarded
    )
    square = squareness.compute_squareness(plan, table, observed, limits)
    solved = solve_rods(table, rods, observed)
    rod_words = assign_rod_verdicts(table, rods, solved, limits, verdicts.verdict)
    doubtful = _find_remedy_positions(table, rods, verdicts.verdict, rod_words)
    groups = fit_patterns(rods, solved, limits, doubtful)
    threads = compute_rod_threads(plan, table, rods, observed)
    judged = BuildingEvaluation(
        plan=plan,
        limits=limits,
        style=LENGTH_STYLES.get(plan.length_unit, "metric"),
        table=table,
        rods=rods,
        observations=observed,
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
        as_built=solved,
        rod_verdicts=rod_words,
        pattern_fits=groups,
        pads=pads,
        rod_threads=threads,
        pad_threads=compute_pad_threads(table, rods, threads, pads),
        concrete=concrete_strength.evaluate_concrete(plan, table, observed, limits),
        group_rules=evaluate_group_rules(rods, solved, limits),
        steel_shifts=find_steel_shifts(plan, rods, solved, groups),
        causes=(),
    )
    return judged.with_causes(find_likely_causes(judged))


def _set_plumb_bounds(
    table: CheckTable, observed: Observations, bounds: CheckBounds, ratio: float
) -> FloatArray:
    """Set the plumb limits from the height each reading names; give those heights."""
    heights = np.full(len(table), np.nan)
    for row in table.rows(CheckKind.PLUMB):
        known = [r.height for r in observed.readings[row] if r.height is not None]
        if known:
            heights[row] = max(known)
    rows = table.rows(CheckKind.PLUMB)
    bounds.upper[rows] = heights[rows] * ratio
    bounds.lower[rows] = -bounds.upper[rows]
    return heights


def _collect_values(
    plan: Plan, table: CheckTable, observed: Observations, pads: pad_levels.PadLevels
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Observed value, uncertainty and nominal of every check; heights for pads."""
    value = observed.value.copy()
    sigma = observed.uncertainty.copy()
    nominal = table.nominal.copy()
    value[pads.rows] = pads.height
    sigma[pads.rows] = pads.sigma
    nominal[pads.rows] = 0.0
    benchmarks = table.rows(CheckKind.BENCHMARK)
    nominal[benchmarks] = value[benchmarks]
    samples = table.rows(CheckKind.STRENGTH)
    value[samples] = [
        concrete_strength.latest_sample_mean(plan, observed, row) for row in samples
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


def _write_result(judged: BuildingEvaluation) -> dict[str, Any]:
    plan = judged.plan
    found = computed_findings.compute_findings(judged)
    return {
        "format": FORMAT,
        "building": plan.name,
        "evaluated_with": MADE_WITH,
        "tolerances": judged.limits.as_result(),
        "checks": build_check_rows(judged),
        "squareness": squareness.squareness_result(
            plan, judged.table, judged.squareness
        ),
        "positions": build_position_rows(judged),
        "group_rules": [rule.as_result() for rule in judged.group_rules],
        "steel_shifts": [shift.as_result() for shift in judged.steel_shifts],
        "levels": pad_levels.levels_result(
            plan,
            judged.table,
            judged.pads,
            judged.verdicts,
            judged.pad_threads,
            judged.limits.level_misclosure(),
        ),
        "concrete": concrete_strength.concrete_result(
            plan, judged.concrete, judged.limits
        ),
        "findings": [finding.as_result() for finding in found],
        "cautions": _list_cautions(plan),
    }


def _list_cautions(plan: Plan) -> list[str]:
    """The standing cautions of a building, whatever its verdicts."""
    used = {position.detail for position in plan.positions}
    short = any(len(plan.details[name].rods) < 4 for name in used)
    return [cautions.SCREENING, cautions.NOTICES, *([cautions.FOUR_RODS] * short)]
