"""Blank check sheet as PDF, for a crew to write on."""

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
from checks.reports.measurement_sections import SAME_FOR_ALL
from checks.reports.typst_pdf import PAPER_SIZES, Report, render_pdf
from core.formatting import QuantityFormatter, get_default_style
from jobs.anchor_plan.values import Plan
from jobs.models import Building
from jobs.plans.plan_cache import load_plan

HEADER_FIELDS = ("Measured by", "Date", "Tape", "Level", "Temperature")
WRITING_WIDTH_MM = 34.0
MAX_LISTED_MARKS = 12  # of the positions of a detail; the rest are counted


def render_sheet_pdf(
    building: Building, at: datetime, *, expected: bool = False
) -> bytes:
    """Render the check sheet of the plan in force.

    Parameters
    ----------
    building : Building
        The building to measure.
    at : datetime
        Date of the file.
    expected : bool
        Print the nominal values. Without them nobody reads what they expect.
    """
    return render_pdf(compose_sheet(building, at, expected=expected))


def compose_sheet(building: Building, at: datetime, *, expected: bool) -> Report:
    """Compose a check sheet; see `render_sheet_pdf`."""
    revision = building.current_revision()
    plan = load_plan(revision)
    formatter = QuantityFormatter(get_default_style(plan.length_unit))
    job = building.job
    return Report(
        title="Check sheet",
        subtitle=building.name,
        job_line=(
            f"{job.number} {job.name}, {job.site}, plan revision {revision.number}"
        ),
        blocks=list(_compose_blocks(plan, formatter, expected=expected)),
        footer=f"Plan SHA-256 {revision.digest}",
        made_at=at,
        tagged=False,  # to be written on by hand
        size=PAPER_SIZES[formatter.style],
    )


def _compose_blocks(
    plan: Plan, formatter: QuantityFormatter, *, expected: bool
) -> Iterator[Block]:
    header = [TableColumn(title=title, share=1.0) for title in HEADER_FIELDS]
    yield table(header, [[" "] * len(HEADER_FIELDS)], tall=True)
    yield from _compose_overview(plan, formatter)
    titles = [TableColumn(title="Check", share=1.0)]
    if expected:
        titles.append(TableColumn(title="Plan", numeric=True))
    titles += [
        TableColumn(title="Reading", width_mm=WRITING_WIDTH_MM),
        TableColumn(title="Repeat", width_mm=WRITING_WIDTH_MM),
        TableColumn(title="Key"),
    ]
    for section in build_blank_walk(plan):
        yield heading(section.title, 2)
        yield paragraph(section.hint, muted=True, keep_with_next=True)
        rows = [_build_row(row, formatter, expected=expected) for row in section.rows]
        yield table(titles, rows, tall=True)


def _compose_overview(plan: Plan, formatter: QuantityFormatter) -> Iterator[Block]:
    """Compose where everything is and how rods are numbered, without any length."""
    drawing = draw_outline(plan, units=formatter.style)
    # Labels on the drawing would show the lengths that the crew is about to read.
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
    for position in plan.positions:
        marks.setdefault(position.detail, []).append(position.mark)
    figures = []
    for detail, places in marks.items():
        pattern = draw_pattern(plan, places[0], units=formatter.style)
        pattern = replace(pattern, setbacks=(), offsets=())
        figure = render_figure("pattern", pattern, formatter.style)
        caption = f"Detail {detail}: {_list_marks(places)}"
        figures.append(replace(figure, alt_text=caption, caption=caption))
    yield figure_row(figures, 2, max_height_mm=90.0)
    yield paragraph(VIEW_DIRECTION, muted=True)


def _list_marks(marks: list[str]) -> str:
    named = ", ".join(marks[:MAX_LISTED_MARKS])
    rest = len(marks) - MAX_LISTED_MARKS
    return f"{named} and {rest} more" if rest > 0 else named


def _build_row(
    row: SheetRow, formatter: QuantityFormatter, *, expected: bool
) -> list[Cell]:
    label = row.label if row.check.required else f"{row.label} (optional)"
    nominal = row.check.nominal
    cells: list[Cell] = [label]
    if expected:
        write = formatter.format_length
        cells.append(SAME_FOR_ALL if nominal is None else write(nominal))
    return [*cells, "", "", code(row.check.key)]
