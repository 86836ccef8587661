"""Why a check that was read has no verdict of its own, in a sentence."""

import numpy as np

from checks.engine.acceptance import SLACK_MM
from checks.evaluation import concrete
from checks.evaluation.judged import Judged
from core.units import format_length
from jobs.plan.sheet import Kind

NOT_SHOWN = "Within the limit, but not by twice the uncertainty (guarded acceptance)."
NO_PATTERN = "The gages fit no pattern near the plan, and are left out of it"


def beyond(judged: Judged, row: int) -> bool:
    """Whether a check is beyond its limit itself, not by what is taken off it."""
    off, bounds = float(judged.deviation[row]), judged.bounds
    inside = bounds.lower[row] - SLACK_MM <= off <= bounds.upper[row] + SLACK_MM
    return not inside


def no_pattern(judged: Judged, row: int) -> bool:
    """Whether a check is of a pattern whose gages no place of its rods can have."""
    if not judged.table.checks[row].rods:
        return False
    rods = judged.rods.of(judged.table, np.array([row]))
    return bool(judged.solved.contradictory[rods].any())


def reason_of(judged: Judged, row: int) -> str | None:
    """Why a check is to be measured again, or was read and is not judged.

    None where the verdict speaks for itself: within, outside the limit, or never read.
    """
    word = judged.words[row]
    if word == "outside":
        return None if beyond(judged, row) else NOT_SHOWN
    if word == "remeasure" and judged.table.checks[row].kind is Kind.STRENGTH:
        return concrete.why_again(judged.plan, judged.table, judged.observed, row)
    if word == "remeasure":
        return impossible(judged, row) or apart(judged, row)
    if word != "unmeasured" or not judged.observed.count[row]:
        return None
    check = judged.table.checks[row]
    if check.kind is Kind.LEVEL:
        setups = dict.fromkeys(r.setup for r in judged.observed.readings[row])
        return f"Nothing ties set-up {', '.join(setups)} to the pads that are judged."
    if check.kind is Kind.STRENGTH:
        return concrete.NO_STRENGTH
    return None


def impossible(judged: Judged, row: int) -> str | None:
    """What cannot be right together, if anything."""
    if not judged.observed.impossible[row]:
        return None
    said = judged.table.checks[row].said
    return f"Rise, tension or tape data of {said} cannot be right."


def apart(judged: Judged, row: int) -> str:
    """How far apart the readings are, and what the instrument explains."""
    observed = judged.observed
    spread = format_length(float(observed.spread[row]), judged.style, 32)
    explained = format_length(float(observed.spread_limit[row]), judged.style, 32)
    return (
        f"The readings of {judged.table.checks[row].said} are {spread} apart; the"
        f" instrument explains {explained}.{_wall_between(judged, row)}"
    )


def _wall_between(judged: Judged, row: int) -> str:
    """That the wall is out by as much as a line from its two corners is apart.

    A sentence to add, empty where it is not so: readings from the second corner go
    by the planned length of the wall.
    """
    check, observed = judged.table.checks[row], judged.observed
    if check.kind is not Kind.LINE:
        return ""
    first, second = check.corners
    corners = {reading.corner or first for reading in observed.readings[row]}
    wall = judged.table.index[f"{Kind.WALL}:{first}-{second}"]
    off = float(judged.deviation[wall])  # NaN where the wall was not measured
    as_much = abs(abs(off) - observed.spread[row]) <= observed.spread_limit[row]
    if corners != {first, second} or not as_much:
        return ""
    word = "longer" if off > 0 else "shorter"
    return (
        f" They were taken from both corners, and the wall is"
        f" {format_length(abs(off), judged.style, 32)} {word} than planned."
    )
