"""Why a check that was read has no verdict of its own, in a sentence."""

import numpy as np

from checks.engine.conformity import SLACK_MM
from checks.evaluation import concrete_strength
from checks.evaluation.building_evaluation import BuildingEvaluation
from core.units import format_length
from jobs.anchor_plan.check_keys import CheckKind

GUARDED_REASON = (
    "Within the limit, but not by twice the uncertainty (guarded acceptance)."
)
CONTRADICTORY_GAGES = "The gages fit no pattern near the plan, and are left out of it"


def is_beyond_limit(judged: BuildingEvaluation, row: int) -> bool:
    """Whether a check is beyond its limit itself, not by what is taken off it."""
    off, bounds = float(judged.deviation[row]), judged.bounds
    inside = bounds.lower[row] - SLACK_MM <= off <= bounds.upper[row] + SLACK_MM
    return not inside


def has_contradictory_gages(judged: BuildingEvaluation, row: int) -> bool:
    """Whether a check is of a pattern whose gages no place of its rods can have."""
    if not judged.table.checks[row].rods:
        return False
    rods = judged.rods.rows_of_checks(judged.table, np.array([row]))
    return bool(judged.as_built.contradictory[rods].any())


def verdict_reason(judged: BuildingEvaluation, row: int) -> str | None:
    """Why a check is to be measured again, or was read and is not judged.

    None where the verdict speaks for itself: within, outside the limit, or never read.
    """
    word = judged.verdicts[row]
    if word == "outside":
        return None if is_beyond_limit(judged, row) else GUARDED_REASON
    if word == "remeasure" and judged.table.checks[row].kind is CheckKind.STRENGTH:
        return concrete_strength.sample_remeasure_reason(
            judged.plan, judged.table, judged.observations, row
        )
    if word == "remeasure":
        return impossible_data_reason(judged, row) or disagreement_reason(judged, row)
    if word != "unmeasured" or not judged.observations.count[row]:
        return None
    check = judged.table.checks[row]
    if check.kind is CheckKind.LEVEL:
        setups = dict.fromkeys(r.setup for r in judged.observations.readings[row])
        return f"Nothing ties set-up {', '.join(setups)} to the pads that are judged."
    if check.kind is CheckKind.STRENGTH:
        return concrete_strength.NO_STRENGTH_REASON
    return None


def impossible_data_reason(judged: BuildingEvaluation, row: int) -> str | None:
    """What cannot be right together, if anything."""
    if not judged.observations.impossible[row]:
        return None
    said = judged.table.checks[row].description
    return f"Rise, tension or tape data of {said} cannot be right."


def disagreement_reason(judged: BuildingEvaluation, row: int) -> str:
    """How far apart the readings are, and what the instrument explains."""
    observed = judged.observations
    spread = format_length(float(observed.spread[row]), judged.style, 32)
    explained = format_length(float(observed.spread_limit[row]), judged.style, 32)
    return (
        f"The readings of {judged.table.checks[row].description} are {spread} apart; the"
        f" instrument explains {explained}.{_wall_length_remark(judged, row)}"
    )


def _wall_length_remark(judged: BuildingEvaluation, row: int) -> str:
    """That the wall is out by as much as a line from its two corners is apart.

    A sentence to add, empty where it is not so: readings from the second corner go
    by the planned length of the wall.
    """
    check, observed = judged.table.checks[row], judged.observations
    if check.kind is not CheckKind.LINE:
        return ""
    first, second = check.corners
    corners = {reading.from_corner or first for reading in observed.readings[row]}
    wall = judged.table.index[f"{CheckKind.WALL}:{first}-{second}"]
    off = float(judged.deviation[wall])  # NaN where the wall was not measured
    as_much = abs(abs(off) - observed.spread[row]) <= observed.spread_limit[row]
    if corners != {first, second} or not as_much:
        return ""
    word = "longer" if off > 0 else "shorter"
    return (
        f" They were taken from both corners, and the wall is"
        f" {format_length(abs(off), judged.style, 32)} {word} than planned."
    )
