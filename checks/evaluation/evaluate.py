"""One building, evaluated whole: the one way from readings to a result document.

`judge_building` computes; `evaluate` writes what it computed as `padstone.result/1`.
"""

from collections.abc import Sequence
from typing import Any

import numpy as np

from checks import tolerances
from checks.engine import cautions
from checks.engine.acceptance import SLACK_MM
from checks.engine.arrays import BoolArray, FloatArray
from checks.evaluation import concrete, findings, levels, squareness
from checks.evaluation.causes import likely_causes
from checks.evaluation.group_rules import judge_group_rules
from checks.evaluation.json_values import number
from checks.evaluation.judged import Judged
from checks.evaluation.limits import Bounds, bounds_of, judge, nominal_strength
from checks.evaluation.observe import Observations, observe
from checks.evaluation.positions import Groups, fit_groups, rod_verdicts, solve_rods
from checks.evaluation.reasons import NO_PATTERN, reason_of
from checks.evaluation.steel_shift import find_shifts
from checks.evaluation.table import CheckTable, RodTable
from checks.evaluation.threads import pad_threads, rod_threads
from checks.evaluation.version import MADE_WITH
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
        "checks": _checks(judged),
        "squareness": squareness.as_result(plan, judged.table, judged.square),
        "positions": _positions(judged),
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


def _plain(values: FloatArray) -> list[float | None]:
    """A column as JSON numbers, null for what is not finite."""
    column = values.astype(object)
    column[~np.isfinite(values)] = None
    plain: list[float | None] = column.tolist()
    return plain


def _checks(judged: Judged) -> list[dict[str, Any]]:
    """The result document's `checks`, in the order of the plan."""
    observed = judged.observed
    speaks = ("within",) if judged.limits.guarded else ("within", "outside")
    columns = zip(
        judged.table.checks,
        _plain(judged.nominal),
        _plain(judged.value),
        _plain(judged.deviation),
        _plain(judged.bounds.size),
        _plain(judged.bounds.lower),
        _plain(judged.bounds.upper),
        _plain(judged.sigma),
        _plain(judged.probability),
        judged.close.tolist(),
        _plain(observed.spread),
        _plain(observed.correction),
        observed.readings,
        judged.words.tolist(),
        strict=True,
    )
    return [
        {
            "check": check.key,
            "nominal": nominal_,
            "observed": value,
            "deviation": deviation,
            "limit": limit,
            "uncertainty": sigma,
            "probability": probability,
            "close_to_limit": close,
            "readings": len(readings),
            "verdict": word,
            "kind": str(check.kind),
            "mark": check.mark,
            "rods": list(check.rods),
            "lower": lower,
            "upper": upper,
            "spread": spread,
            "correction": correction,
            "reading_ids": [reading.id for reading in readings],
            "reason": None if word in speaks else reason_of(judged, row),
            "required": check.required,
            "stage": check.stage,
        }
        for row, (
            check,
            nominal_,
            value,
            deviation,
            limit,
            lower,
            upper,
            sigma,
            probability,
            close,
            spread,
            correction,
            readings,
            word,
        ) in enumerate(columns)
    ]


def _positions(judged: Judged) -> list[dict[str, Any]]:
    """The result document's `positions`."""
    groups, solved, rods = judged.groups, judged.solved, judged.rods
    fits = _plate_fits(judged, groups)
    words = judged.rod_words
    built, off = solved.as_built.tolist(), solved.deviation.tolist()
    miss, known = solved.miss.tolist(), solved.determined.tolist()
    planned = rods.planned.tolist()
    shift, turn = groups.shift, groups.turn
    listed = []
    for i, group in enumerate(rods.groups):
        frame = rods.frames[i]
        listed.append(
            {
                "mark": group.position.mark,
                "shift_along": number(shift[i, 0]),
                "shift_in": number(shift[i, 1]),
                "turn": number(turn[i]),
                "rods": [
                    {
                        "rod": row - group.rows.start + 1,
                        "along": number(built[row][0]),
                        "in": number(built[row][1]),
                        "d_along": number(off[row][0]),
                        "d_in": number(off[row][1]),
                        "miss": number(miss[row]),
                        "verdict": words[row],
                        "determined": known[row],
                        "planned_along": planned[row][0],
                        "planned_in": planned[row][1],
                    }
                    for row in range(group.rows.start, group.rows.stop)
                ],
                "plate_fit": fits.get(i),
                "note": f"{NO_PATTERN}."
                if solved.contradictory[group.rows].any()
                else None,
                "line_deviation": number(solved.line[i]),
                "x": float(frame.origin[0]),
                "y": float(frame.origin[1]),
                "angle": float(np.arctan2(frame.along[1], frame.along[0])),
            }
        )
    return listed


def _plate_fits(judged: Judged, groups: Groups) -> dict[int, dict[str, Any]]:
    """Each fitted position's `plate_fit`, by its place in the plan."""
    free, fits = groups.free, {}
    for row, i in enumerate(groups.fitted.tolist()):
        detail = judged.rods.groups[i].detail
        hole = detail.plate.hole_diameter if detail.plate else float("nan")
        overrun = float(free.overrun_mm[row])
        fits[i] = {
            "overrun": overrun,
            "fits": overrun <= SLACK_MM,
            "hole_needed": hole + 2.0 * overrun,
            "shift_along": float(free.shift_mm[row, 0]),
            "shift_in": float(free.shift_mm[row, 1]),
            "turn": float(free.turn_rad[row]),
            "hole_diameter": hole,
        }
    return fits
