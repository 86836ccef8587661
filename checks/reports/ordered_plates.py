"""The section of a new base plate that was ordered: drawing, holes and notes."""

from collections.abc import Iterator, Mapping
from typing import Any

from checks.drawings.new_plate import draw_new_plate
from checks.evaluation.finding_topics import FindingTopic
from checks.reports.blocks import (
    Block,
    TableColumn,
    figure_row,
    paragraph,
    strong,
    table,
)
from checks.reports.figures import VIEW_DIRECTION, render_figure
from checks.reports.report_content import ReportContent
from core.formatting import format_display_length
from core.vocabulary import RemedyKind
from jobs.anchor_plan.values import Detail

FINEST_FRACTION = 64  # of an inch, that a plate is laid out to


def compose_ordered_plate(
    content: ReportContent, topic: str, decision: Mapping[str, Any]
) -> Iterator[Block]:
    """Compose the plate of a decision; nothing where another remedy was ordered."""
    remedy = decision["remedy"]
    detail = _find_detail(content, FindingTopic(topic).subject)
    if remedy["remedy"] != RemedyKind.NEW_PLATE or detail is None:
        return
    mark = FindingTopic(topic).subject
    if len(remedy["plate"]["holes"]) != len(detail.rods):
        return  # a later revision has another detail there
    drawing = draw_new_plate(mark, detail, remedy)
    yield paragraph(
        f"New base plate for {mark}, as ordered. {VIEW_DIRECTION} Distances from the"
        " lower left corner of the plate.",
        keep_with_next=True,
    )
    yield figure_row([render_figure("new_plate", drawing, content.formatter.style)])
    yield _tabulate_holes(content, remedy["plate"]["holes"])


def _find_detail(content: ReportContent, mark: str) -> Detail | None:
    for position in content.plan.positions:
        if position.mark == mark:
            return content.plan.details[position.detail]
    return None


def _tabulate_holes(content: ReportContent, holes: list[Mapping[str, Any]]) -> Block:
    style = content.formatter.style

    def write(mm: float | None) -> str:
        return format_display_length(mm or 0.0, style, denominator=FINEST_FRACTION)

    def write_exact(mm: float | None) -> str:
        return format_display_length(mm or 0.0, style, fine=True)

    return table(
        [
            TableColumn(title="Rod"),
            TableColumn(title="X, to lay out", numeric=True),
            TableColumn(title="Y, to lay out", numeric=True),
            TableColumn(title="X, exact", numeric=True),
            TableColumn(title="Y, exact", numeric=True),
            TableColumn(title="Left round the rod", numeric=True),
            TableColumn(title="To the edge", numeric=True),
        ],
        [
            [
                strong(str(hole["rod"])),
                write(hole["x"]),
                write(hole["y"]),
                write_exact(hole["exact_x"]),
                write_exact(hole["exact_y"]),
                write(hole["clearance_left"]),
                write(hole["edge_left"]),
            ]
            for hole in holes
        ],
    )
