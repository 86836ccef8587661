"""One building, evaluated whole: the one way from readings to a result document.

`judge_building` computes; `evaluate` writes what it computed as `padstone.result/1`.
"""

from collections.abc import Sequence
from typing import Any

import numpy as np

from checks import tolerances
from checks.engine import cautions
from checks.engine.arrays import BoolArray, FloatArray
from checks.evaluation import concrete, findings, levels, squareness
from checks.evaluation.causes import likely_causes
from checks.evaluation.group_rules import judge_group_rules
from checks.evaluation.judged import Judged
from checks.evaluation.limits import Bounds, bounds_of, judge, nominal_strength
from checks.evaluation.observe import Observations, observe
from checks.evaluation.positions import fit_groups, rod_verdicts, solve_rods
from checks.evaluation.steel_shift import find_shifts
from checks.evaluation.table import CheckTable, RodTable
from checks.evaluation.threads import pad_threads, rod_threads
from checks.evaluation.version import MADE_WITH
from checks.evaluation.written import check_rows, position_rows
from core.units import LengthStyle
from jobs.plan.model import Building, Plan
from jobs.plan.sheet import Kind

FORMAT = "padstone.result/1"
STYLES: dict[str, LengthStyle] = {"in": "imperial", "ft": "imperial"}


def evaluate(building: Building) -> dict[str, Any]:
    """Evaluate one building and write the result document.

    Parameters
    ----------
    building : the plan and its readings, as `jobs.exchange.parse` reads them.

    Returns
    -------
    dict
        `padstone.result/1`: lengths in mm, angles in rad, strengths in MPa.
    """
    return _written(judge_building(building))


def judge_building(building: Building) -> Judged:
    """Compute everything there is to know of one building."""
    plan = building.plan
    limits = tolerances.limits_for(plan.tolerances)
    table, rods = CheckTable(building), RodTable(plan)
    bounds = bounds_of(plan, table, rods, limits)
    observed = observe(building, table)
    observed = levels.level_repeats(plan, table, observed)
    observed = concrete.look_over(plan, table, observed)
    pads = levels.reduce_levels(plan, table, observed, limits)
    heights = _plumb_bounds(table, observed, bounds, limits.plumb())
    value, sigma, nominal = _values(plan, table, observed, pads)
    deviation = value - nominal
    verdicts = judge(deviation, bounds, observed, sigma=sigma, guarded=limits.guarded)
    square = squareness.squareness(plan, table, observed, limits)
    solved = solve_rods(table, rods, observed)
    rod_words = rod_verdicts(table, rods, solved, limits, verdicts.word)
    doubtful = _doubtful(table, rods, verdicts.word, rod_words)
    groups = fit_groups(rods, solved, limits, doubtful)
    threads = rod_threads(plan, table, rods, observed)
    judged = Judged(
        plan=plan,
        limits=limits,
        style=STYLES.get(plan.length_unit, "metric"),
        table=table,
        rods=rods,
        observed=observed,
        bounds=bounds,
        nominal=nominal,
        deviation=deviation,
        value=value,
        sigma=sigma,
        heights=heights,
        words=verdicts.word,
        probability=verdicts.probability,
        close=verdicts.close,
        square=square,
        solved=solved,
        rod_words=rod_words,
        groups=groups,
        pads=pads,
        threads=threads,
        pad_thread=pad_threads(table, rods, threads, pads),
        concrete=concrete.judge_concrete(plan, table, observed, limits),
        group_rules=judge_group_rules(rods, solved, limits),
        shifts=find_shifts(plan, rods, solved, groups),
        causes=(),
    )
    return judged.explained_by(likely_causes(judged))


def _plumb_bounds(
    table: CheckTable, observed: Observations, bounds: Bounds, ratio: float
) -> FloatArray:
    """Set the plumb limits from the height each reading names; give those heights."""
    heights = np.full(len(table), np.nan)
    for row in table.rows(Kind.PLUMB):
        known = [r.height for r in observed.readings[row] if r.height is not None]
        if known:
            heights[row] = max(known)
    rows = table.rows(Kind.PLUMB)
    bounds.upper[rows] = heights[rows] * ratio
    bounds.lower[rows] = -bounds.upper[rows]
    return heights


def _values(
    plan: Plan, table: CheckTable, observed: Observations, pads: levels.Pads
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Observed value, uncertainty and nominal of every check; heights for pads."""
    value = observed.value.copy()
    sigma = observed.uncertainty.copy()
    nominal = table.nominal.copy()
    value[pads.rows] = pads.height
    sigma[pads.rows] = pads.sigma
    nominal[pads.rows] = 0.0
    benchmarks = table.rows(Kind.BENCHMARK)
    nominal[benchmarks] = value[benchmarks]
    samples = table.rows(Kind.STRENGTH)
    value[samples] = [concrete.latest_mean(plan, observed, row) for row in samples]
    nominal[samples] = nominal_strength(plan)
    sigma[samples] = np.nan
    return value, sigma, nominal


def _doubtful(
    table: CheckTable, rods: RodTable, words: np.ndarray, rod_words: Sequence[str]
) -> BoolArray:
    """Positions with a line, setback, offset, gage or rod that is not within."""
    doubtful = np.zeros(len(rods.groups), dtype=bool)
    doubtful[rods.position[np.isin(rod_words, findings.BAD)]] = True
    rows = table.rows(*findings.POSITION_KINDS)
    doubtful[table.position[rows[np.isin(words[rows], findings.BAD)]]] = True
    return doubtful


def _written(judged: Judged) -> dict[str, Any]:
    plan = judged.plan
    found = findings.find(judged)
    return {
        "format": FORMAT,
        "building": plan.name,
        "evaluated_with": MADE_WITH,
        "tolerances": judged.limits.as_result(),
        "checks": check_rows(judged),
        "squareness": squareness.as_result(plan, judged.table, judged.square),
        "positions": position_rows(judged),
        "group_rules": [rule.as_result() for rule in judged.group_rules],
        "steel_shifts": [shift.as_result() for shift in judged.shifts],
        "levels": levels.as_result(
            plan,
            judged.table,
            judged.pads,
            judged.words,
            judged.pad_thread,
            judged.limits.level_misclosure(),
        ),
        "concrete": concrete.as_result(plan, judged.concrete, judged.limits),
        "findings": [finding.as_result() for finding in found],
        "cautions": _cautions(plan),
    }


def _cautions(plan: Plan) -> list[str]:
    """The standing cautions of a building, whatever its verdicts."""
    used = {position.detail for position in plan.positions}
    short = any(len(plan.details[name].rods) < 4 for name in used)
    return [cautions.SCREENING, cautions.NOTICES, *([cautions.FOUR_RODS] * short)]
