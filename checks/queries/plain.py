"""The plain checks: those a phone can judge by one subtraction and one comparison.

A reading is within its limits where lower <= reading - nominal <= upper, each limit
included to `SLACK_MM`. What needs more than that is left to the server: the tape's
corrections, repeats that disagree, levels, strengths, plumb, guarded acceptance.
"""

from collections.abc import Iterable
from dataclasses import dataclass

from checks.evaluation.limits import bounds_of
from checks.evaluation.observe import TAPED
from checks.evaluation.table import CheckTable, RodTable
from checks.tolerances import limits_for
from jobs.plan.geometry import wall_length
from jobs.plan.model import Building, Plan, Reading
from jobs.plan.sheet import Check, Kind

PLAIN = frozenset(TAPED) - {Kind.PLUMB}


@dataclass(frozen=True, slots=True, kw_only=True)
class Plain:
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
    whole: float | None = None


def plain_limits(plan: Plan, checks: Iterable[Check]) -> dict[str, Plain]:
    """Give the limits of every plain check by its key, as the evaluation has them.

    Parameters
    ----------
    plan : the plan in force.
    checks : those asked for.
    """
    if plan.tolerances.guarded:
        return {}
    asked = [check for check in checks if check.kind in PLAIN]
    # A gage is judged once it was read: name each of them, as a reading would.
    named = tuple(
        Reading(id=check.key, check=check.key, value=0.0, text="", resolution=0.0)
        for check in asked
    )
    table = CheckTable(Building(plan=plan, readings=named))
    bounds = bounds_of(plan, table, RodTable(plan), limits_for(plan.tolerances))
    found = {}
    for check in asked:
        row = table.index[check.key]
        if check.nominal is not None:
            found[check.key] = Plain(
                nominal=check.nominal,
                lower=float(bounds.lower[row]),
                upper=float(bounds.upper[row]),
                whole=_whole(plan, check),
            )
    return found


def _whole(plan: Plan, check: Check) -> float | None:
    if check.kind is not Kind.LINE or len(check.corners) != 2:
        return None
    first, second = check.corners
    return wall_length(plan, (first, second))
