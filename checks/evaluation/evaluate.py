"""The evaluation of one building: the one way from readings to a result document.

`compute_evaluation` computes; `evaluate` writes the result as `padstone.result/1`.
"""

import numpy as np

from checks.engine import cautions
from checks.engine.arrays import BoolArray, FloatArray
from checks.evaluation import (
    concrete_strength,
    level_result,
    pad_levels,
    squareness,
)
from checks.evaluation.building_evaluation import BuildingEvaluation
from checks.evaluation.cause_search import find_likely_causes
from checks.evaluation.check_limits import (
    CheckBounds,
    CheckVerdicts,
    assign_verdicts,
    compute_bounds,
    nominal_strength,
)
from checks.evaluation.check_table import CheckTable, RodTable
from checks.evaluation.finding_chances import build_finding_result
from checks.evaluation.finding_search import compute_findings
from checks.evaluation.fit_up import MeasuredPositions, compute_fit_up
from checks.evaluation.fit_up_result import fit_up_result
from checks.evaluation.group_rules import evaluate_group_rules
from checks.evaluation.neighbour_lengths import compare_neighbour_lengths
from checks.evaluation.next_readings import find_next_readings
from checks.evaluation.plan_review import review_plan
from checks.evaluation.reduce_readings import Observations, reduce_readings
from checks.evaluation.result_rows import build_check_rows, build_position_rows
from checks.evaluation.rod_positions import (
    POSITION_KINDS,
    AsBuiltRods,
    PatternFits,
    assign_rod_verdicts,
    fit_patterns,
    solve_rods,
)
from checks.evaluation.rod_threads import compute_pad_threads, compute_rod_threads
from checks.evaluation.second_readings import compute_verdict_chances
from checks.evaluation.steel_shift_options import find_steel_shifts
from checks.evaluation.verdicts import find_failing
from checks.evaluation.version import MADE_WITH
from checks.tolerances.limits import ToleranceLimits, resolve_limits
from core.units import LengthStyle
from jobs.anchor_plan.check_keys import CheckKind
from jobs.anchor_plan.values import BuildingInput, Plan
from jobs.exchange.result.document import ResultDocument
from jobs.exchange.vocabulary import RESULT_FORMAT

LENGTH_STYLES: dict[str, LengthStyle] = {"in": "imperial", "ft": "imperial"}
MIN_RODS_PER_COLUMN = 4  # 29 CFR 1926.758(b)


def evaluate(building: BuildingInput) -> ResultDocument:
    """Evaluate one building and write the result document.

    Parameters
    ----------
    building : the plan and its readings, as `jobs.exchange.input.parser` reads them.

    Returns
    -------
    `padstone.result/1`: lengths in mm, angles in rad, strengths in MPa.
    """
    return _write_result(compute_evaluation(building))


def compute_evaluation(building: BuildingInput) -> BuildingEvaluation:
    """Compute every value of one building's evaluation."""
    plan = building.plan
    limits = resolve_limits(plan.tolerances)
    table, rods = CheckTable(building), RodTable(plan)
    # Pads come before the verdicts: a level is checked by the height of its pad.
    observations = _reduce_all_readings(building, table)
    pads = pad_levels.reduce_levels(plan, table, observations, limits)
    bounds = compute_bounds(plan, table, rods, limits)
    # The plumb limit is a ratio: it needs the height that the readings name.
    heights = _set_plumb_bounds(table, observations, bounds, limits.plumb())
    value, sigma, nominal = _collect_values(plan, table, observations, pads)
    deviation = value - nominal
    verdicts = assign_verdicts(
        deviation, bounds, observations, sigma=sigma, guarded=limits.guarded
    )
    pad_levels.assign_pad_verdicts(verdicts, pads)
    chances = compute_verdict_chances(
        plan,
        table,
        observations,
        bounds=bounds,
        deviation=deviation,
        sigma=sigma,
        verdicts=verdicts.verdict,
        guarded=limits.guarded,
    )
    as_built = solve_rods(table, rods, observations)
    rod_verdicts, fits = _fit_rods(table, rods, as_built, limits, verdicts)
    square = squareness.compute_squareness(plan, table, observations, limits)
    lengths = compare_neighbour_lengths(plan, table, observations, deviation, square)
    # Threads before and after shims: a shim can take the thread of a good rod.
    threads = compute_rod_threads(plan, table, rods, observations)
    evaluation = BuildingEvaluation(
        plan=plan,
        plan_warnings=review_plan(plan),
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
        chances=chances,
        second_readings=chances.second_readings(),
        squareness=square,
        neighbour_lengths=lengths,
        as_built=as_built,
        rod_verdicts=rod_verdicts,
        pattern_fits=fits,
        pads=pads,
        rod_threads=threads,
        pad_threads=compute_pad_threads(table, rods, threads, pads),
        concrete=concrete_strength.evaluate_concrete(plan, table, observations, limits),
        group_rules=evaluate_group_rules(rods, as_built, limits),
        steel_shifts=find_steel_shifts(rods, as_built, fits),
        fit_up=compute_fit_up(
            MeasuredPositions(
                plan=plan,
                table=table,
                rods=rods,
                observations=observations,
                as_built=as_built,
                rod_verdicts=rod_verdicts,
                contradicted=lengths.rows[lengths.contradicts],
            ),
            fits,
            limits,
        ),
        causes=(),
    )
    # Causes are searched last, in the finished evaluation: they explain its verdicts.
    return evaluation.with_causes(find_likely_causes(evaluation))


def _reduce_all_readings(building: BuildingInput, table: CheckTable) -> Observations:
    """Reduce the readings of every kind of check to observations."""
    observations = reduce_readings(building, table)
    observations = pad_levels.compare_level_repeats(building.plan, table, observations)
    return concrete_strength.flag_invalid_samples(building.plan, table, observations)


def _set_plumb_bounds(
    table: CheckTable, observations: Observations, bounds: CheckBounds, ratio: float
) -> FloatArray:
    """Set the plumb limits from the height of each reading; return those heights."""
    heights = np.full(len(table), np.nan)
    rows = table.rows(CheckKind.PLUMB)
    for row in rows:
        known = [r.height for r in observations.readings[row] if r.height is not None]
        if known:
            heights[row] = max(known)
    bounds.upper[rows] = heights[rows] * ratio
    bounds.lower[rows] = -bounds.upper[rows]
    return heights


def _collect_values(
    plan: Plan,
    table: CheckTable,
    observations: Observations,
    pads: pad_levels.PadLevels,
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return observed value, uncertainty and nominal of every check.

    A level's value is the height of its pad, a sample's the mean of its latest day.
    """
    value = observations.value.copy()
    sigma = observations.uncertainty.copy()
    nominal = table.nominal.copy()
    value[pads.rows] = pads.height
    sigma[pads.rows] = pads.sigma
    nominal[pads.rows] = 0.0
    # A benchmark is its own nominal: it ties set-ups and has no planned value.
    benchmarks = table.rows(CheckKind.BENCHMARK)
    nominal[benchmarks] = value[benchmarks]
    samples = table.rows(CheckKind.STRENGTH)
    value[samples] = [
        concrete_strength.latest_sample_mean(plan, observations, row) for row in samples
    ]
    nominal[samples] = nominal_strength(plan)
    # ASTM C39 gives a precision of companions, not an uncertainty of the concrete.
    sigma[samples] = np.nan
    return value, sigma, nominal


def _fit_rods(
    table: CheckTable,
    rods: RodTable,
    as_built: AsBuiltRods,
    limits: ToleranceLimits,
    verdicts: CheckVerdicts,
) -> tuple[tuple[str, ...], PatternFits]:
    """Return the verdict of every rod, and the fit of every pattern and plate."""
    rod_verdicts = assign_rod_verdicts(table, rods, as_built, limits, verdicts.verdict)
    needs_remedy: BoolArray = np.zeros(len(rods.groups), dtype=bool)
    needs_remedy[rods.position[find_failing(rod_verdicts)]] = True
    rows = table.rows(*POSITION_KINDS)
    failing = rows[find_failing(verdicts.verdict[rows])]
    needs_remedy[table.position[failing]] = True
    return rod_verdicts, fit_patterns(rods, as_built, limits, needs_remedy)


def _write_result(evaluation: BuildingEvaluation) -> ResultDocument:
    plan = evaluation.plan
    return {
        "format": RESULT_FORMAT,
        "building": plan.name,
        "evaluated_with": MADE_WITH,
        "tolerances": evaluation.limits.as_result(),
        "checks": build_check_rows(evaluation),
        "squareness": squareness.squareness_result(
            plan, evaluation.table, evaluation.observations, evaluation.squareness
        ),
        "positions": build_position_rows(evaluation),
        "group_rules": [case.as_result() for case in evaluation.group_rules],
        "steel_shifts": [shift.as_result() for shift in evaluation.steel_shifts],
        "fit_up": fit_up_result(evaluation),
        "levels": level_result.levels_result(
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
        "findings": [
            build_finding_result(evaluation, finding)
            for finding in compute_findings(evaluation)
        ],
        "next_readings": [each.as_result() for each in find_next_readings(evaluation)],
        "plan_warnings": [
            {"pointer": each.pointer, "message": each.message}
            for each in evaluation.plan_warnings
        ],
        "cautions": _list_cautions(plan),
    }


def _list_cautions(plan: Plan) -> list[str]:
    """Return the standing cautions of a building, whatever its verdicts."""
    used = {position.detail for position in plan.positions}
    too_few = any(len(plan.details[name].rods) < MIN_RODS_PER_COLUMN for name in used)
    standing = [cautions.SCREENING, cautions.NOTICES]
    return [*standing, cautions.FOUR_RODS] if too_few else standing
