"""Shim plan as PDF: the stack of each pad, and the plates to order."""

from collections.abc import Iterator
from datetime import datetime

from checks.drawings.profile import draw_profiles
from checks.engine.cautions import SCREENING, UNDER_PLATE
from checks.queries.evaluated_plan import EvaluatedPlan, load_evaluated_plan
from checks.queries.position_tables import PadRow, build_shim_tables
from checks.reports.blocks import (
    Block,
    Cell,
    caution,
    columns,
    figure_row,
    heading,
    paragraph,
    strong,
    table,
)
from checks.reports.figures import render_figure
from checks.reports.typst_pdf import PAPER_SIZES, Report, render_pdf
from core.formatting import QuantityFormatter, get_default_style
from jobs.models import Building


def render_shim_pdf(building: Building, at: datetime) -> bytes:
    """Render the shim plan of the present levels; `at` is the date of the file."""
    return render_pdf(compose_shim_plan(building, at))


def compose_shim_plan(building: Building, at: datetime) -> Report:
    """Compose a shim plan; see `render_shim_pdf`."""
    evaluated = load_evaluated_plan(building)
    job = building.job
    evaluation = evaluated.evaluation
    digest = evaluation.input_digest if evaluation else ""
    return Report(
        title="Shim plan",
        subtitle=building.name,
        job_line=f"{job.number} {job.name}, {job.site}, "
        f"plan revision {evaluated.revision.number}",
        blocks=list(_compose_blocks(evaluated)),
        footer=f"Evaluated {digest}" if digest else "Not evaluated yet",
        made_at=at,
        size=PAPER_SIZES[get_default_style(evaluated.plan.length_unit)],
    )


def _compose_blocks(evaluated: EvaluatedPlan) -> Iterator[Block]:
    formatter = QuantityFormatter(get_default_style(evaluated.plan.length_unit))
    tables, levels = build_shim_tables(evaluated), evaluated.levels
    yield caution(UNDER_PLATE, ["Columns are raised, never lowered.", SCREENING])
    if levels is None or len(tables.unmeasured) == len(tables.pads):
        yield paragraph("No level is read yet. Shims are computed from the levels.")
        return
    yield heading("Pack list", 2)
    packs = [
        [strong(row["thickness"]), str(row["count"])]
        for row in levels.get("pack_list", ())
    ]
    if packs:
        yield table(columns("Thickness", "Plates", numeric=("Plates",)), packs)
    else:
        yield paragraph("Nothing to order.")
    yield from _compose_unshimmed(formatter, tables.referred, tables.unmeasured)
    yield heading("By position", 2)
    numeric = ("Low by", "Shim", "Left over")
    stack = "Stack, thickest first"
    titles = ("Mark", "Wall", "Low by", "Shim", stack, "Left over", "Thread", "Done")
    rows = [_build_row(formatter, pad) for pad in tables.shimmed]
    if rows:
        yield table(columns(*titles, numeric=numeric, wide=stack), rows, tall=True)
    else:
        yield paragraph("No pad needs a shim.")
    yield from _compose_profiles(evaluated, formatter)


def _build_row(formatter: QuantityFormatter, pad: PadRow) -> list[Cell]:
    left = pad.thread_left
    thread: Cell = "" if left is None else strong("short") if left < 0 else "enough"
    return [
        strong(pad.mark),
        pad.wall_name,
        formatter.format_fine(pad.low_by),
        strong(formatter.format_fine(pad.shim)),
        " + ".join(pad.stack),
        formatter.format_deviation(pad.residual),
        thread,
        "",
    ]


def _compose_unshimmed(
    formatter: QuantityFormatter, referred: list[PadRow], unmeasured: list[PadRow]
) -> Iterator[Block]:
    if referred:
        low = ", ".join(
            f"{pad.mark} ({formatter.format_fine(pad.low_by)})" for pad in referred
        )
        yield caution("For the engineer: too low for shims.", [low])
    if unmeasured:
        marks = ", ".join(pad.mark for pad in unmeasured)
        yield caution("Not levelled yet: the pack list is not complete.", [marks])


def _compose_profiles(
    evaluated: EvaluatedPlan, formatter: QuantityFormatter
) -> Iterator[Block]:
    profiles = draw_profiles(evaluated.plan, evaluated.result, units=formatter.style)
    if profiles:
        yield heading("Levels", 2)
        yield figure_row(
            [render_figure("profile", each, formatter.style) for each in profiles], 2
        )
