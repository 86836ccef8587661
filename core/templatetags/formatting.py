"""Template tags and filters for lengths, verdicts, icons, dates and page numbers."""

import math
from datetime import date, datetime
from decimal import Decimal
from typing import Any, Literal

from django import template
from django.core.paginator import Page
from django.utils import timezone
from django.utils.html import format_html
from django.utils.safestring import SafeString

from core.formatting import (
    DISPLAY_STYLES,
    EM_DASH,
    FINE_DENOMINATOR,
    DisplayStyle,
    QuantityUnit,
    format_count,
    format_date,
    format_display_length,
    format_mpa,
    format_psi,
    format_quantity,
    format_rotation,
    format_time,
)
from core.vocabulary import Verdict

register = template.Library()


def _get_reader_style(context: template.Context) -> DisplayStyle:
    """Return the reader's notation; the first one on a page without a reader."""
    chosen = context.get("units")
    return next(
        (style for style in DISPLAY_STYLES if style == chosen), DISPLAY_STYLES[0]
    )


@register.simple_tag(takes_context=True)
def length(
    context: template.Context,
    mm: float | Decimal | None,
    denominator: int = 16,
    *,
    signed: bool = False,
    svg: bool = False,
    fine: bool = False,
    limit: float | Literal[""] | None = None,
) -> SafeString | str:
    """Render a length in the reader's units, with the others in reach.

    `svg=True` makes a `tspan` for use inside a drawing's `text`. NaN is unknown. Beyond
    its `limit` [mm] it never reads as equal to it.
    """
    if mm is None or mm == "" or math.isnan(mm):
        return EM_DASH
    largest = None if limit is None or limit == "" else float(limit)
    shown = _get_reader_style(context)
    forms = {
        style: format_display_length(
            mm,
            style,
            denominator=denominator,
            signed=signed,
            fine=fine,
            limit_mm=largest,
        )
        for style in DISPLAY_STYLES
    }
    values = (forms["imperial"], forms["decimal"], forms["metric"], forms[shown])
    if svg:
        return format_html(
            '<tspan class="length" data-imperial="{}" data-decimal="{}"'
            ' data-metric="{}">{}</tspan>',
            *values,
        )
    others = " · ".join(forms[style] for style in DISPLAY_STYLES if style != shown)
    return format_html(
        '<span class="length" data-mm="{}" data-imperial="{}" data-decimal="{}"'
        ' data-metric="{}" title="{}">{}</span>',
        f"{float(mm):.6f}",
        *values[:3],
        others,
        values[3],
    )


@register.simple_tag(takes_context=True)
def strength(
    context: template.Context,
    mpa: float | Literal[""] | None,
    *,
    signed: bool = False,
    decimals: int = 1,
) -> SafeString | str:
    """Render a strength in psi, or in MPa for metric units, with the other in reach."""
    if mpa is None or mpa == "" or math.isnan(mpa):
        return EM_DASH
    customary = format_psi(mpa, signed=signed)
    metric = format_mpa(mpa, decimals=decimals, signed=signed)
    own, other = (
        (metric, customary)
        if _get_reader_style(context) == "metric"
        else (customary, metric)
    )
    return format_html(
        '<span class="length" data-imperial="{}" data-decimal="{}" data-metric="{}"'
        ' title="{}">{}</span>',
        *(customary, customary, metric, other, own),
    )


@register.simple_tag(takes_context=True)
def quantity(
    context: template.Context, value: float | None, unit: QuantityUnit
) -> SafeString | str:
    """Render a quantity of the engine in the reader's units, another in reach."""
    if unit == "mm":
        return length(context, value, FINE_DENOMINATOR)
    if unit == "MPa":
        return strength(context, value)
    if value is None or math.isnan(value):
        return EM_DASH
    own, *forms = (
        format_quantity(value, unit, style)
        for style in (_get_reader_style(context), *DISPLAY_STYLES)
    )
    if len(set(forms)) == 1:
        return own
    return format_html(
        '<span class="length" data-imperial="{}" data-decimal="{}" data-metric="{}"'
        ' title="{}">{}</span>',
        *forms,
        next(form for form in forms if form != own),
        own,
    )


@register.filter
def rotation(rad: float) -> str:
    """Format a small rotation with its direction, seen from above. [rad]"""
    return format_rotation(rad)


@register.simple_tag
def icon(name: str) -> SafeString:
    """Render an icon; it is decoration, so that a word must stand beside it."""
    return format_html(
        '<svg class="icon" aria-hidden="true"><use href="#icon-{}"></use></svg>', name
    )


@register.simple_tag
def verdict(name: str, *, word: str = "", bare: bool = False) -> SafeString:
    """Render a verdict with shape, word and colour.

    Raises
    ------
    ValueError
        For a verdict nobody defined: it must not look like one that is.
    """
    return format_html(
        '<span class="verdict {}{}"><svg class="icon" aria-hidden="true">'
        '<use href="#verdict-{}"></use></svg>{}</span>',
        name,
        " bare" if bare else "",
        name,
        word or Verdict(name).label,
    )


@register.filter
def day(value: date | datetime | None) -> SafeString | str:
    """Format a date: 9 Mar 2026."""
    if not value:
        return EM_DASH
    if isinstance(value, datetime):
        value = timezone.localtime(value).date()
    text = format_date(value)
    return format_html('<time datetime="{}">{}</time>', value.isoformat(), text)


@register.filter
def moment(value: datetime | None) -> SafeString | str:
    """Format a time with its zone: 9 Mar 2026, 14:05 CST."""
    if not value:
        return EM_DASH
    local = timezone.localtime(value)
    text = f"{format_time(local)} {local.tzname()}"
    return format_html('<time datetime="{}">{}</time>', local.isoformat(), text)


@register.filter
def days_until(value: date | None, today: date | None = None) -> str:
    """Format the distance of a date: in 3 days, today, 2 days ago."""
    if not value:
        return EM_DASH
    days = (value - (today or timezone.localdate())).days
    if days == 0:
        return "today"
    count = format_count(abs(days), "day")
    return f"in {count}" if days > 0 else f"{count} ago"


@register.simple_tag(takes_context=True)
def address_with(context: template.Context, **changes: Any) -> str:
    """Return the query of this page with changed parameters; empty ones are removed."""
    query = context["request"].GET.copy()
    for name, value in changes.items():
        if value in (None, ""):
            query.pop(name, None)
        else:
            query[name] = value
    return f"?{query.urlencode()}"


@register.simple_tag
def page_numbers(page: Page[Any]) -> list[int | str]:
    """List the page numbers around a page, with ellipses for those left out."""
    numbers = page.paginator.get_elided_page_range(page.number, on_each_side=2)
    return list(numbers)
