"""The blank sheet on paper, for a crew to write on."""

from collections.abc import Iterator
from dataclasses import replace
from datetime import datetime

from checks.drawings.outline import draw_outline
from checks.drawings.pattern import draw_pattern
from checks.queries.walk import SheetRow, build_blank_walk
from checks.reports.blocks import (
    Block,
    Cell,
    TableColumn,
    code,
    figure_row,
    heading,
    paragraph,
    table,
)
from checks.reports.figures import VIEW_DIRECTION, render_figure
from checks.reports.typst_pdf import PAPER_SIZES, Report, render_pdf
from core.formatting import QuantityFormatter, get_default_style
from jobs.anchor_plan.values import Plan
from jobs.models import Building
from jobs.plans.plan_cache import load_plan

HEADER_FIELDS = ("Measured by", "Date", "Tape", "Level", "Temperature")
WRITING_WIDTH_MM = 34.0
MAX_LISTED_MARKS = 12  # positions of a detail; more are counted


def render_sheet_pdf(
    building: Building, at: datetime, *, expected: bool = False
) -> bytes:
    """Print the sheet of the plan in force.

    Parameters
    ----------
    building : what is to be measured.
    at : the date in the file.
    expected : whether the plan's figures stand on it. Without them nobody reads what
        they expect.
    """
    return render_pdf(compose_sheet(building, at, expected=expected))


def compose_sheet(building: Building, at: datetime, *, expected: bool) -> Report:
    """Compose a sheet; see `sheet_pdf`."""
    revision = building.current_revision()
    plan = load_plan(revision)
    hand = QuantityFormatter(get_default_style(plan.length_unit))
    job = building.job
    return Report(
        title="Check sheet",
        subtitle=building.name,
        job_line=f"{job.number} {job.name}, {job.site}, plan revision {revision.number}",
        blocks=list(_compose_blocks(plan, hand, expected=expected)),
        footer=f"Plan SHA-256 {revision.digest}",
        made_at=at,
        tagged=False,
        size=PAPER_SIZES[hand.style],
    )


def _compose_blocks(
    plan: Plan, formatter: QuantityFormatter, *, expected: bool
) -> Iterator[Block]:
    by_hand = [TableColumn(title=title, share=1.0) for title in HEADER_FIELDS]
    yield table(by_hand, [[" "] * len(HEADER_FIELDS)], tall=True)
    yield from _compose_overview(plan, formatter)
    titles = [TableColumn(title="What", share=1.0)]
    if expected:
        titles.append(TableColumn(title="Plan", numeric=True))
    titles += [
        TableColumn(title="Reading", width_mm=WRITING_WIDTH_MM),
        TableColumn(title="Again", width_mm=WRITING_WIDTH_MM),
        TableColumn(title="Key"),
    ]
    for section in build_blank_walk(plan):
        yield heading(section.title, 2)
        yield paragraph(section.hint, muted=True, keep_with_next=True)
        rows = [_build_row(row, formatter, expected=expected) for row in section.rows]
        yield table(titles, rows, tall=True)


def _compose_overview(plan: Plan, formatter: QuantityFormatter) -> Iterator[Block]:
    """Where everything is and how rods are numbered, with no figure that is read."""
    drawing = draw_outline(plan, units=formatter.style)
    drawing = replace(
        drawing,
        walls=tuple(replace(line, label=None) for line in drawing.walls),
        diagonals=tuple(replace(line, label=None) for line in drawing.diagonals),
    )
    yield figure_row(
        [render_figure("outline", drawing, formatter.style)], max_height_mm=120.0
    )
    yield heading("How rods are numbered", 2)
    marks: dict[str, list[str]] = {}
    for place in plan.positions:
        marks.setdefault(place.detail, []).append(place.mark)
    drawings = []
    for detail, places in marks.items():
        pattern = draw_pattern(plan, places[0], units=formatter.style)
        pattern = replace(pattern, setbacks=(), offsets=())
        drawn = render_figure("pattern", pattern, formatter.style)
        at = f"Detail {detail}: {_list_marks(places)}"
        drawings.append(replace(drawn, alt_text=at, caption=at))
    yield figure_row(drawings, 2, max_height_mm=90.0)
    yield paragraph(VIEW_DIRECTION, muted=True)


def _list_marks(marks: list[str]) -> str:
    named = ", ".join(marks[:MAX_LISTED_MARKS])
    rest = len(marks) - MAX_LISTED_MARKS
    return f"{named} and {rest} more" if rest > 0 else named


def _build_row(
    row: SheetRow, formatter: QuantityFormatter, *, expected: bool
) -> list[Cell]:
    words = row.label if row.check.required else f"{row.label} (if wanted)"
    nominal = row.check.nominal
    plan = (
        ["alike" if nominal is None else formatter.format_length(nominal)]
        if expected
        else []
    )
    return [words, *plan, "", "", code(row.check.key)]
