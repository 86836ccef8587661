"""A record's drawings for paper: the plan, the levels, the positions that matter."""

from collections.abc import Iterator
from typing import Any

from checks.drawings.outline import draw_outline
from checks.drawings.pattern import draw_pattern
from checks.drawings.profile import draw_profiles
from checks.drawings.svg import render_svg
from checks.reports.blocks import Block, DrawingFigure, figure_row, heading, paragraph
from checks.reports.record_sections import ReportContent
from core.formatting import DisplayStyle

ROD_TOPICS = ("position:", "projection:")
VIEW_DIRECTION = (
    "Seen from above, from outside the wall looking in: along to the right, in upward."
)


def render_figure(name: str, drawing: Any, units: DisplayStyle) -> DrawingFigure:
    """Write a drawing on its own, with its looks inside."""
    written = render_svg(name, drawing, units, standalone=True)
    return DrawingFigure(
        # The fraction slash makes figures of half the size: too small beside lines.
        svg=written.replace("\N{FRACTION SLASH}", "/"),
        width=drawing.width,
        height=drawing.height,
        alt_text=f"{drawing.title}. {drawing.description}".strip(),
    )


def compose_plan(content: ReportContent, *, new_page: bool = True) -> Iterator[Block]:
    """The plan with what was measured of it."""
    units = content.formatter.style
    drawing = draw_outline(content.plan, content.results.result, units=units)
    yield heading("Plan as built", new_page=new_page)
    yield figure_row([render_figure("outline", drawing, units)])


def compose_levels(content: ReportContent) -> Iterator[Block]:
    """The pads along each wall; nothing where none was levelled."""
    units = content.formatter.style
    drawings = draw_profiles(content.plan, content.results.result, units=units)
    if drawings:
        yield heading("Levels", 2)
        yield figure_row(
            [render_figure("profile", each, units) for each in drawings], 2
        )


def compose_patterns(content: ReportContent) -> Iterator[Block]:
    """The positions whose rods are not within, or have or had a finding."""
    found = {
        topic.partition(":")[2]
        for row in content.record["findings"]
        if (topic := row["finding"]).startswith(ROD_TOPICS)
    }
    marks = [
        place.mark
        for place in content.plan.positions
        if place.mark in found
        or content.results.get_position_verdict(place.mark) in ("outside", "remeasure")
    ]
    if not marks or content.results.result is None:
        return
    yield heading("Positions with findings", 2)
    units = content.formatter.style
    drawings = [
        draw_pattern(content.plan, mark, content.results.result, units=units)
        for mark in marks
    ]
    yield figure_row([render_figure("pattern", each, units) for each in drawings], 2)
    yield paragraph(
        f"{VIEW_DIRECTION} At no other position is a rod known to be out.", muted=True
    )
