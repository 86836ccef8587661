"""Steps of a remedy's arithmetic: sentences with lengths in them."""

import math
from dataclasses import dataclass

from checks.drawings.result_view import find_limit
from core.formatting import EM_DASH, QuantityUnit, format_rotation
from jobs.anchor_plan.values import Detail, Plan
from jobs.exchange.result.document import ResultDocument


@dataclass(frozen=True, slots=True)
class StepPart:
    """Part of a sentence: a length in mm, a quantity in its unit, or text."""

    text: str = ""
    mm: float | None = None
    value: float | None = None
    unit: QuantityUnit = ""


Step = tuple[StepPart, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class RemedyContext:
    """Plan and result that the remedies of a finding were computed from.

    Attributes
    ----------
    mark : str
        Of the position or pad; empty where the finding has none.
    plan : Plan
        The plan they were computed for.
    result : ResultDocument
        The result that holds them.
    """

    mark: str
    plan: Plan
    result: ResultDocument

    def get_limit(self, key: str) -> float:
        """Return a limit in mm, or a plain ratio; NaN where the basis has none."""
        rule = find_limit(self.result["tolerances"], key)
        return math.nan if rule is None else rule["value"]

    @property
    def detail(self) -> Detail | None:
        """The detail of the position; None where the finding is about none."""
        for position in self.plan.positions:
            if position.mark == self.mark:
                return self.plan.details[position.detail]
        return None


def build_step(*parts: StepPart | str | float | None) -> Step:
    """Build a step from parts, text and lengths [mm]; an unknown one is an em dash."""
    return tuple(_build_part(part) for part in parts)


def _build_part(part: StepPart | str | float | None) -> StepPart:
    if isinstance(part, StepPart):
        return part
    if part is None:
        return StepPart(text=EM_DASH)
    return StepPart(text=part) if isinstance(part, str) else StepPart(mm=float(part))


def describe_rotation(rad: float | None) -> str:
    """Write how far a plate or the steel is rotated. [rad]"""
    return format_rotation(rad or 0.0)
