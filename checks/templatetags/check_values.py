"""Tags for the values of checks and the parts of a calculation."""

from collections.abc import Iterable
from typing import Any, Literal

from django import template
from django.utils.html import conditional_escape, format_html
from django.utils.safestring import SafeString, mark_safe

from checks.labels import describe_second_reading, get_nearer_bound
from core.formatting import EM_DASH
from core.templatetags.formatting import length, quantity, strength, verdict
from jobs.anchor_plan.check_keys import CheckKind
from jobs.exchange.result.document import CheckResult
from jobs.exchange.result.next_readings import SecondReadingResult

register = template.Library()
FINEST_DENOMINATOR = 64


@register.simple_tag(takes_context=True)
def step_part(context: template.Context, part: Any) -> SafeString | str:
    """Show one part: its verdict, else its length, its quantity, or its text."""
    if not part:
        return EM_DASH
    if getattr(part, "verdict", None):
        return verdict(part.verdict)
    unit = getattr(part, "unit", None)
    if unit:
        return quantity(context, part.value, unit)
    if part.mm is None:
        return conditional_escape(part.text)
    return length(
        context,
        part.mm,
        FINEST_DENOMINATOR,
        signed=getattr(part, "signed", False),
        fine=getattr(part, "fine", False),
    )


@register.simple_tag(takes_context=True)
def step_parts(context: template.Context, parts: Iterable[Any]) -> SafeString:
    """Show parts one after the other: a template would set spaces between them."""
    # Every part was escaped when it was formatted.
    return mark_safe("".join(step_part(context, part) for part in parts))  # noqa: S308


@register.simple_tag(takes_context=True)
def check_value(
    context: template.Context,
    kind: str,
    value: float | None,
    denominator: int = 16,
    *,
    signed: bool = False,
) -> SafeString | str:
    """Show a value of a check: a strength for strengths, a length for all others."""
    if kind == CheckKind.STRENGTH:
        return strength(context, value, signed=signed)
    return length(context, value, denominator, signed=signed)


@register.simple_tag(takes_context=True)
def check_deviation(
    context: template.Context, result: CheckResult | None, denominator: int = 32
) -> SafeString | str:
    """Show the deviation of a check: beyond its limit it never reads as equal to it."""
    if not result:
        return EM_DASH
    if result.get("kind") == CheckKind.STRENGTH:
        return strength(context, result["deviation"], signed=True)
    return length(
        context,
        result["deviation"],
        denominator,
        signed=True,
        limit=get_nearer_bound(result),
    )


@register.filter
def second_reading_text(second: SecondReadingResult | None) -> str:
    """Describe the second reading of a check; empty where none is worth taking."""
    return describe_second_reading(second) if second else ""


@register.simple_tag(takes_context=True)
def nominal_value(
    context: template.Context, kind: str, value: float | None, denominator: int = 16
) -> SafeString | str:
    """Show what the plan asks of a check; a level is held against the highest pad."""
    if kind == CheckKind.LEVEL:
        return "highest pad"
    return check_value(context, kind, value, denominator)


@register.simple_tag(takes_context=True)
def limit_value(
    context: template.Context, kind: str, value: float | None
) -> SafeString | str:
    """Show a check's limit; a strength has a ratio instead, shown with the concrete."""
    return EM_DASH if kind == CheckKind.STRENGTH else length(context, value, 32)


@register.simple_tag(takes_context=True)
def uncertainty_note(
    context: template.Context, kind: str, value: float | Literal[""] | None
) -> SafeString | str:
    """Show the standard uncertainty of a length after its key; nothing for others."""
    if value is None or value == "" or kind == CheckKind.STRENGTH:
        return ""
    return format_html(
        "· standard uncertainty {}", length(context, value, FINEST_DENOMINATOR)
    )
