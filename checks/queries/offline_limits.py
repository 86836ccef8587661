"""The plain checks: those a phone can judge by one subtraction and one comparison.

A reading is within its limits where lower <= reading - nominal <= upper, each limit
included to `SLACK_MM`. What needs more than that is left to the server: the tape's
corrections, repeats that disagree, levels, strengths, plumb, guarded acceptance.
"""

from collections.abc import Iterable
from dataclasses import dataclass

from checks.evaluation.check_limits import compute_bounds
from checks.evaluation.check_table import CheckTable, RodTable
from checks.tolerances.limits import resolve_limits
from jobs.anchor_plan.check_keys import TAPE_KINDS, CheckKind
from jobs.anchor_plan.geometry import wall_length
from jobs.anchor_plan.planned_checks import Check
from jobs.anchor_plan.values import BuildingInput, Plan, ReadingValue

OFFLINE_KINDS = TAPE_KINDS


@dataclass(frozen=True, slots=True, kw_only=True)
class OfflineLimits:
    """What one reading of a check is held against. [mm]

    Attributes
    ----------
    nominal : what the plan says.
    lower, upper : the least and greatest deviation that is within.
    whole : of a line, its wall's planned length, from which a reading from the
        wall's second corner is taken.
    """

    nominal: float
    lower: float
    upper: float
    wall_length: float | None = None


def compute_offline_limits(
    plan: Plan, checks: Iterable[Check]
) -> dict[str, OfflineLimits]:
    """Give the limits of every plain check by its key, as the evaluation has them.

    Parameters
    ----------
    plan : the plan in force.
    checks : those asked for.
    """
    if plan.tolerances.guarded:
        return {}
    asked = [check for check in checks if check.kind in OFFLINE_KINDS]
    # A gage is judged once it was read: name each of them, as a reading would.
    named = tuple(
        ReadingValue(id=check.key, check=check.key, value=0.0, text="", resolution=0.0)
        for check in asked
    )
    table = CheckTable(BuildingInput(plan=plan, readings=named))
    bounds = compute_bounds(
        plan, table, RodTable(plan), resolve_limits(plan.tolerances)
    )
    found: dict[str, OfflineLimits] = {}
    for check in asked:
        row = table.index[check.key]
        if check.nominal is not None:
            found[check.key] = OfflineLimits(
                nominal=check.nominal,
                lower=float(bounds.lower[row]),
                upper=float(bounds.upper[row]),
                wall_length=_wall_length(plan, check),
            )
    return found


def _wall_length(plan: Plan, check: Check) -> float | None:
    if check.kind is not CheckKind.LINE or len(check.corners) != 2:
        return None
    first, second = check.corners
    return wall_length(plan, (first, second))
