"""Tags for the parts of a calculation: text, lengths and verdicts in one line."""

from collections.abc import Iterable
from typing import Any

from django import template
from django.utils.html import conditional_escape
from django.utils.safestring import SafeString, mark_safe

from core.templatetags.formatting import length, verdict

register = template.Library()
FINEST_DENOMINATOR = 64


@register.simple_tag(takes_context=True)
def step_part(context: template.Context, part: Any) -> SafeString | str:
    """Show one part: its verdict, else its length `mm`, else its text."""
    if getattr(part, "verdict", None):
        return verdict(part.verdict)
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
