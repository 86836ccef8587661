"""The reason in a sentence where a verdict does not explain itself."""

import numpy as np

from checks.engine.conformity import SLACK_MM
from checks.evaluation import concrete_strength
from checks.evaluation.building_evaluation import BuildingEvaluation
from core.units import LengthStyle, format_against_limit, format_length
from core.vocabulary import Verdict
from jobs.anchor_plan.check_keys import CheckKind

GUARDED_REASON = (
    "Within the limit, but not by twice the uncertainty (guarded acceptance)."
)
CONTRADICTORY_GAGES = "The gages fit no pattern near the plan and are left out"


def is_beyond_limit(evaluation: BuildingEvaluation, row: int) -> bool:
    """Return True for a deviation beyond the limit itself, before any guard band."""
    deviation, bounds = float(evaluation.deviation[row]), evaluation.bounds
    inside = bounds.lower[row] - SLACK_MM <= deviation <= bounds.upper[row] + SLACK_MM
    return not inside


def has_contradictory_gages(evaluation: BuildingEvaluation, row: int) -> bool:
    """Return True for a check of a pattern whose gages no arrangement of rods fits."""
    if not evaluation.table.checks[row].rods:
        return False
    rods = evaluation.rods.rows_of_checks(evaluation.table, np.array([row]))
    return bool(evaluation.as_built.contradictory[rods].any())


def verdict_reason(evaluation: BuildingEvaluation, row: int) -> str | None:
    """Return why a check is to be measured again, or was read and has no verdict.

    None where the verdict explains itself: within, beyond the limit, or never read.
    """
    verdict = evaluation.verdicts[row]
    kind = evaluation.table.checks[row].kind
    if verdict == Verdict.OUTSIDE:
        return None if is_beyond_limit(evaluation, row) else GUARDED_REASON
    if verdict == Verdict.REMEASURE and kind is CheckKind.STRENGTH:
        return concrete_strength.sample_remeasure_reason(
            evaluation.plan, evaluation.table, evaluation.observations, row
        )
    if verdict == Verdict.REMEASURE:
        if evaluation.observations.impossible[row]:
            return describe_impossible_data(evaluation.table.checks[row].description)
        return disagreement_reason(evaluation, row)
    if verdict != Verdict.UNMEASURED or not evaluation.observations.count[row]:
        return None
    if kind is CheckKind.LEVEL:
        setups = dict.fromkeys(r.setup for r in evaluation.observations.readings[row])
        return f"Nothing ties set-up {', '.join(setups)} to the other pads."
    if kind is CheckKind.STRENGTH:
        return concrete_strength.NO_STRENGTH_REASON
    return None


def describe_impossible_data(checks: str) -> str:
    """Return the sentence on readings whose data cannot be right together."""
    return f"The rise, tension or tape data of {checks} cannot be right."


def describe_set_aside(off_mm: float, others: int, style: LengthStyle) -> str:
    """Describe why a reading is left out: the others agree, and it does not.

    Parameters
    ----------
    off_mm : reading less the mean of the others. [mm]
    others : number of readings that agree.
    style : how lengths are written.
    """
    amount = format_length(abs(off_mm), style, 32)
    return (
        f"{amount} {'more' if off_mm > 0.0 else 'less'} than the {others} readings that"
        " agree."
    )


def disagreement_reason(evaluation: BuildingEvaluation, row: int) -> str:
    """Describe how far apart the readings of a check are, and what explains less."""
    observations = evaluation.observations
    limit = float(observations.spread_limit[row])
    spread = format_against_limit(
        float(observations.spread[row]), limit, evaluation.style, 32
    )
    explained = format_length(limit, evaluation.style, 32)
    return (
        f"The readings of {evaluation.table.checks[row].description} differ by"
        f" {spread}, more than the {explained} the instrument can explain."
        f"{_wall_length_remark(evaluation, row)}"
    )


def _wall_length_remark(evaluation: BuildingEvaluation, row: int) -> str:
    """Describe a wall whose error equals the difference of a line's two readings.

    Readings from the second corner are converted with the planned length of the wall,
    so a wrong wall shows as a disagreement. Empty where that is not the case.
    """
    check, observations = evaluation.table.checks[row], evaluation.observations
    if check.kind is not CheckKind.LINE:
        return ""
    first, second = check.corners
    corners = {reading.from_corner or first for reading in observations.readings[row]}
    wall = evaluation.table.index[f"{CheckKind.WALL}:{first}-{second}"]
    deviation = float(evaluation.deviation[wall])  # NaN where the wall was not measured
    difference = abs(abs(deviation) - observations.spread[row])
    same_amount = difference <= observations.spread_limit[row]
    if corners != {first, second} or not same_amount:
        return ""
    comparison = "longer" if deviation > 0 else "shorter"
    return (
        " They were taken from both corners, and the wall is"
        f" {format_length(abs(deviation), evaluation.style, 32)} {comparison} than"
        " planned."
    )
