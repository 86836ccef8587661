"""The drawing beside a finding: its pattern or its outline."""

from django.urls import reverse
from django.utils.safestring import SafeString

from checks.drawings.outline import draw_outline
from checks.drawings.pattern import draw_pattern
from checks.drawings.svg import render_svg
from checks.evaluation.finding_topics import PATTERN_TOPICS, FindingTopic, TopicKind
from checks.models import Finding
from checks.views.display_units import get_display_units
from core.requests import AuthenticatedRequest
from jobs.plans.plan_cache import load_plan

OUTLINE_TOPICS = (TopicKind.SQUARENESS, TopicKind.WALL)


def draw_finding(request: AuthenticatedRequest, finding: Finding) -> SafeString | str:
    """Draw the subject of a finding as built, on the plan it was found on."""
    topic = FindingTopic(finding.topic)
    mark = topic.subject
    evaluation = finding.evaluation
    plan = load_plan(evaluation.revision)
    units = get_display_units(request, plan.length_unit)
    if topic.kind in PATTERN_TOPICS and any(
        place.mark == mark for place in plan.positions
    ):
        drawing = draw_pattern(plan, mark, evaluation.result, units=units)
        return render_svg("pattern", drawing, units)
    if topic.kind in OUTLINE_TOPICS:
        outline = draw_outline(
            plan,
            evaluation.result,
            href=lambda name: reverse(
                "checks:position", args=[finding.building_id, name]
            ),
            units=units,
        )
        return render_svg("outline", outline, units)
    return ""
