"""The drawing beside a finding: its pattern, or the outline it is about."""

from django.http import HttpRequest
from django.urls import reverse
from django.utils.safestring import SafeString

from checks.drawings.outline import outline_drawing
from checks.drawings.pattern import pattern_drawing
from checks.drawings.svg import svg
from checks.drawings.text import Units, units_of
from checks.models import Finding
from core.context_processors import UNITS
from jobs.plan.model import Plan
from jobs.plans import plan_of

PATTERNS = ("position", "projection")
OUTLINES = ("squareness", "wall")


def drawing_of(request: HttpRequest, finding: Finding) -> SafeString | str:
    """Draw what a finding is about as built, on the plan it was found on."""
    word, _, mark = finding.topic.partition(":")
    evaluation = finding.evaluation
    plan = plan_of(evaluation.revision)
    units = _units(request, plan)
    if word in PATTERNS and any(place.mark == mark for place in plan.positions):
        drawing = pattern_drawing(plan, mark, evaluation.result, units=units)
        return svg("pattern", drawing, units)
    if word in OUTLINES:
        outline = outline_drawing(
            plan,
            evaluation.result,
            href=lambda name: reverse(
                "checks:position", args=[finding.building_id, name]
            ),
            units=units,
        )
        return svg("outline", outline, units)
    return ""


def _units(request: HttpRequest, plan: Plan) -> Units:
    chosen = request.COOKIES.get("units")
    if chosen in UNITS:
        return chosen  # type: ignore[return-value]
    return units_of(plan.length_unit)
