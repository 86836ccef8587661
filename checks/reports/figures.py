"""Drawings of a record for paper: plan, levels, positions with findings."""

import html
import re
from collections.abc import Iterator
from typing import Any

from checks.drawings.canvas import TEXT_UNITS, text_width
from checks.drawings.outline import draw_outline
from checks.drawings.pattern import draw_pattern
from checks.drawings.profile import draw_profiles
from checks.drawings.svg import render_svg
from checks.evaluation.finding_topics import PATTERN_TOPICS, FindingTopic
from checks.reports.blocks import Block, DrawingFigure, figure_row, heading, paragraph
from checks.reports.report_content import ReportContent
from core.formatting import DisplayStyle
from core.vocabulary import Verdict

VIEW_DIRECTION = (
    "Seen from above, looking in from outside the wall: along to the right, in upward."
)

_TEXT = re.compile(r"<text(?P<attributes>[^>]*)>(?P<content>.*?)</text>", re.DOTALL)
_ATTRIBUTE = re.compile(r"([\w-]+)=\"([^\"]*)\"")
_TAG = re.compile(r"<[^>]*>")


def render_figure(name: str, drawing: Any, style: DisplayStyle) -> DrawingFigure:
    """Render a drawing by itself, with its styles inside."""
    svg = _TEXT.sub(_lay_ground, render_svg(name, drawing, style, standalone=True))
    return DrawingFigure(
        # The fraction slash halves the size of digits: too small to read beside lines.
        svg=svg.replace("\N{FRACTION SLASH}", "/"),
        width=drawing.width,
        height=drawing.height,
        alt_text=f"{drawing.title}. {drawing.description}".strip(),
    )


def _lay_ground(text: re.Match[str]) -> str:
    """Return a text with a white rectangle under it, so that lines do not cross it.

    On a screen each letter has a white outline. A PDF would hold that outline as a
    path for every letter, which was a third of the file.
    """
    attributes = dict(_ATTRIBUTE.findall(text["attributes"]))
    words = " ".join(html.unescape(_TAG.sub("", text["content"])).split())
    width = text_width(words)
    x, y = float(attributes.get("x", 0)), float(attributes.get("y", 0))
    share = {"middle": 0.5, "end": 1.0}.get(attributes.get("text-anchor", ""), 0.0)
    return (
        f'<rect class="text-ground" x="{x - share * width:.1f}"'
        f' y="{y - TEXT_UNITS / 2:.1f}" width="{width:.1f}" height="{TEXT_UNITS:g}"/>'
        f"{text[0]}"
    )


def compose_plan(content: ReportContent, *, new_page: bool = True) -> Iterator[Block]:
    """Compose the plan with its as-built deviations."""
    style = content.formatter.style
    drawing = draw_outline(content.plan, content.result, units=style)
    yield heading("Plan as built", new_page=new_page)
    yield figure_row([render_figure("outline", drawing, style)])


def compose_levels(content: ReportContent) -> Iterator[Block]:
    """Compose the profiles of the pads; nothing where no level was read."""
    style = content.formatter.style
    profiles = draw_profiles(content.plan, content.result, units=style)
    if profiles:
        yield heading("Levels", 2)
        yield figure_row(
            [render_figure("profile", each, style) for each in profiles], 2
        )


def compose_patterns(content: ReportContent) -> Iterator[Block]:
    """Compose the positions that are not within, or that have or had a finding."""
    topics = (FindingTopic(row["finding"]) for row in content.record["findings"])
    with_finding = {topic.mark for topic in topics if topic.kind in PATTERN_TOPICS}
    marks = [
        position.mark
        for position in content.plan.positions
        if position.mark in with_finding
        or content.results.get_position_verdict(position.mark)
        in (Verdict.OUTSIDE, Verdict.REMEASURE)
    ]
    if not marks or content.result is None:
        return
    yield heading("Positions with findings", 2)
    style = content.formatter.style
    patterns = [
        draw_pattern(content.plan, mark, content.result, units=style) for mark in marks
    ]
    yield figure_row([render_figure("pattern", each, style) for each in patterns], 2)
    yield paragraph(
        f"{VIEW_DIRECTION} At no other position is a rod known to be outside.",
        muted=True,
    )
