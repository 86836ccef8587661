"""The drawing beside a finding: its pattern, or the outline it is about."""

from django.urls import reverse
from django.utils.safestring import SafeString

from checks.drawings.outline import outline_drawing
from checks.drawings.pattern import pattern_drawing
from checks.drawings.svg import svg
from checks.models import Finding
from checks.views.units import units_for
from core.requests import PersonRequest
from jobs.plans import plan_of

PATTERNS = ("position", "projection")
OUTLINES = ("squareness", "wall")


def drawing_of(request: PersonRequest, finding: Finding) -> SafeString | str:
    """Draw what a finding is about as built, on the plan it was found on."""
    word, _, mark = finding.topic.partition(":")
    evaluation = finding.evaluation
    plan = plan_of(evaluation.revision)
    units = units_for(request, plan.length_unit)
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
