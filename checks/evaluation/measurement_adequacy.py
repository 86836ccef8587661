"""Checks whose uncertainty is larger than their limit: only a better measurement helps.

A reading that is less certain than its limit is wide decides nothing, whatever it
shows: nothing is ordered on it but a better measurement. What would do is computed from
the uncertainties of `checks.engine.uncertainty`. That the standard uncertainty should
be at most half the limit is a project choice.
"""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from checks.engine import uncertainty
from checks.engine.arrays import BoolArray
from checks.engine.conformity import SLACK_MM
from checks.engine.constants import FOOT_MM, INCH_MM
from checks.engine.remedies.remedy import Advice, propose_remeasurement
from checks.evaluation.building_evaluation import BuildingEvaluation
from checks.evaluation.computed_findings import ComputedFinding
from checks.evaluation.failing_checks import capitalize_first
from checks.evaluation.reduce_readings import ASSUMED_CLASS, CLASS_NUMBER
from checks.evaluation.verdicts import FAILING_VERDICTS
from core.units import format_against_limit, format_length
from jobs.anchor_plan.check_keys import TAPE_KINDS, CheckKey, CheckKind

ADEQUATE_SHARE = 0.5
"""Largest standard uncertainty that decides, as a share of the limit."""

FINE_RESOLUTION_MM = {"imperial": INCH_MM / 32.0, "metric": 1.0}
"""Finest division that a tape is read to, by the building's units. [mm]"""

SIGHT_STEP_MM = {"imperial": 10.0 * FOOT_MM, "metric": 5000.0}
"""Steps in which a sight is asked for, by the building's units."""

BETTER_THAN_TAPE = "a total station"


def find_coarse_checks(evaluation: BuildingEvaluation) -> BoolArray:
    """Find the measured checks, (n_checks,), less certain than their limit is wide."""
    table = evaluation.table
    length = np.zeros(len(table), dtype=bool)
    length[table.rows(*TAPE_KINDS, CheckKind.LEVEL)] = True
    measured = ~np.isnan(evaluation.deviation)
    # A comparison with NaN is False: no uncertainty, no complaint.
    coarse = evaluation.sigma > evaluation.bounds.size + SLACK_MM
    return np.asarray(length & measured & coarse)


def order_better_measurement(
    evaluation: BuildingEvaluation, finding: ComputedFinding, coarse: BoolArray
) -> ComputedFinding:
    """Return a finding that rests on too coarse a reading with nothing else ordered.

    Where other checks of the finding are outside by readings that are good enough,
    what they call for stays an alternative.

    Parameters
    ----------
    evaluation : the building.
    finding : with the advice of the rules for its kind.
    coarse : (n_checks,) from `find_coarse_checks`.
    """
    rows = [evaluation.table.index[key] for key in finding.checks]
    failing = [r for r in rows if evaluation.verdicts[r] in FAILING_VERDICTS]
    too_coarse = [row for row in failing if coarse[row]]
    if not too_coarse:
        return finding
    reason = " ".join(describe_coarse_checks(evaluation, too_coarse))
    keys = [evaluation.table.checks[row].key for row in too_coarse]
    remedy = propose_remeasurement(reason, keys)
    if len(too_coarse) == len(failing):
        return replace(finding, advice=Advice(remedies=(remedy,)))
    advice = finding.advice.with_first(remedy)
    return replace(finding, advice=advice)


def describe_coarse_checks(
    evaluation: BuildingEvaluation, rows: Sequence[int]
) -> list[str]:
    """Describe why each of these checks decides nothing, and what measurement would."""
    checks, style = evaluation.table.checks, evaluation.style
    better = _describe_better_lengths(
        evaluation, [row for row in rows if checks[row].kind is not CheckKind.LEVEL]
    )
    limits = evaluation.bounds.size
    described = []
    for row in rows:
        u = format_against_limit(
            float(evaluation.sigma[row]), float(limits[row]), style, 64
        )
        limit = format_length(float(limits[row]), style, 64)
        described.append(
            f"{capitalize_first(checks[row].description)}: the standard uncertainty,"
            f" {u}, is larger than the limit, {limit}, so this reading decides nothing."
            f" {better.get(row) or _describe_better_levelling(evaluation, row)}"
        )
    return described


def _describe_better_lengths(
    evaluation: BuildingEvaluation, rows: Sequence[int]
) -> dict[int, str]:
    """Describe by row the least effort that measures a length well enough.

    In the order of effort: the class of tape that was used, from the nearer corner of
    the wall, then class I, always with the temperature noted.
    """
    if not rows:
        return {}
    style, resolution = evaluation.style, FINE_RESOLUTION_MM[evaluation.style]
    lengths = np.array([_list_lengths(evaluation, row) for row in rows])
    used = np.array([_find_tape_class(evaluation, row) for row in rows])
    classes = np.stack([used, used, np.ones_like(used), np.ones_like(used)], axis=1)
    lengths = np.concatenate([lengths, lengths], axis=1)
    u = uncertainty.reading_uncertainty(
        lengths.ravel(), resolution, classes.ravel(), True
    ).combined_mm.reshape(lengths.shape)
    limit = evaluation.bounds.size[list(rows)]
    adequate = u <= ADEQUATE_SHARE * limit[:, None]
    choice = np.where(adequate.any(axis=1), adequate.argmax(axis=1), u.argmin(axis=1))
    described = {}
    for i, (row, option) in enumerate(zip(rows, choice.tolist(), strict=True)):
        corner = evaluation.table.checks[row].corners
        where = f" from corner {corner[1]}" if option % 2 else ""
        how = (
            f"with a tape of class {'I' * int(classes[i, option])}{where}, its"
            f" temperature noted, read to {format_length(resolution, style, 32)}"
        )
        left = format_length(float(u[i, option]), style, 64)
        described[row] = (
            f"Measure again {how}: that has {left}."
            if u[i, option] <= limit[i]
            else f"No tape does: {how} it still has {left}. Use {BETTER_THAN_TAPE}."
        )
    return described


def _list_lengths(evaluation: BuildingEvaluation, row: int) -> tuple[float, float]:
    """Return what a tape must span, from the first and from the other corner. [mm]"""
    table = evaluation.table
    check, length = table.checks[row], abs(float(table.nominal[row]))
    if check.kind is not CheckKind.LINE or not check.corners:
        return length, length
    first, second = check.corners
    wall = table.index[CheckKey.for_corners(CheckKind.WALL, (first, second))]
    return length, float(table.nominal[wall]) - length


def _find_tape_class(evaluation: BuildingEvaluation, row: int) -> int:
    """Return the best accuracy class that a check was read with."""
    tools = [
        evaluation.plan.instruments.get(reading.instrument or "")
        for reading in evaluation.observations.readings[row]
    ]
    named = [(tool.accuracy_class if tool else None) for tool in tools]
    return min(CLASS_NUMBER[name or ASSUMED_CLASS] for name in named)


def _describe_better_levelling(evaluation: BuildingEvaluation, row: int) -> str:
    """Describe the sight that the level needs."""
    limit = float(evaluation.bounds.size[row])
    stated = [
        tool.standard_uncertainty
        for reading in evaluation.observations.readings[row]
        if (tool := evaluation.plan.instruments.get(reading.instrument or ""))
        and tool.standard_uncertainty is not None
    ]
    at_30_m = min(stated, default=uncertainty.LEVEL_UNCERTAINTY_MM)
    # A height is the difference of two pads: their uncertainties add in quadrature.
    reference = uncertainty.LEVEL_REFERENCE_SIGHT_MM
    sight = reference * ADEQUATE_SHARE * limit / (np.sqrt(2.0) * at_30_m)
    step = SIGHT_STEP_MM[evaluation.style]
    longest = step * np.floor(min(sight, reference) / step)
    if not longest:
        shortest = format_length(step, evaluation.style, 1)
        return f"Use a better level: this one needs sights shorter than {shortest}."
    return (
        "Level again, both pads from one set-up, with sights of at most"
        f" {format_length(float(longest), evaluation.style, 1)}."
    )
