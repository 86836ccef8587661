"""Limits of the checks that a phone can judge without the server.

A reading is within its limits where lower <= reading - nominal <= upper, each limit
included to `SLACK_MM`. The server alone judges whatever needs more: tape corrections,
repeats that disagree, levels, strengths, plumb, guarded acceptance.
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
    """Nominal and limits that one reading of a check is compared with. [mm]

    Attributes
    ----------
    nominal : float
        From the plan.
    lower, upper : float
        Least and greatest deviation that is within.
    wall_length : float or None
        Planned length of the wall of a line, which a reading from the wall's second
        corner is subtracted from.
    """

    nominal: float
    lower: float
    upper: float
    wall_length: float | None = None


def compute_offline_limits(
    plan: Plan, checks: Iterable[Check]
) -> dict[str, OfflineLimits]:
    """Compute the limits of the checks that a phone can judge, by key.

    Parameters
    ----------
    plan : Plan
        The plan in force.
    checks : iterable of Check
        The checks to compute limits for.
    """
    # Guarded limits depend on the uncertainty, which the phone does not compute.
    if plan.tolerances.guarded:
        return {}
    judged = [check for check in checks if check.kind in OFFLINE_KINDS]
    # The table holds a gage only where a reading names it.
    named = tuple(
        ReadingValue(id=check.key, check=check.key, value=0.0, text="", resolution=0.0)
        for check in judged
    )
    table = CheckTable(BuildingInput(plan=plan, readings=named))
    bounds = compute_bounds(
        plan, table, RodTable(plan), resolve_limits(plan.tolerances)
    )
    limits: dict[str, OfflineLimits] = {}
    for check in judged:
        row = table.index[check.key]
        if check.nominal is not None:
            limits[check.key] = OfflineLimits(
                nominal=check.nominal,
                lower=float(bounds.lower[row]),
                upper=float(bounds.upper[row]),
                wall_length=_wall_length(plan, check),
            )
    return limits


def _wall_length(plan: Plan, check: Check) -> float | None:
    if check.kind is not CheckKind.LINE or len(check.corners) != 2:
        return None
    first, second = check.corners
    return wall_length(plan, (first, second))
