"""The shim plan on paper: where plates go, and what to order."""

from collections.abc import Iterator
from datetime import datetime

from checks.drawings.profile import draw_profiles
from checks.engine.cautions import SCREENING, UNDER_PLATE
from checks.queries.evaluated_plan import (
    EvaluatedPlan,
    PadRow,
    build_shim_tables,
    load_evaluated_plan,
)
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
    """Print the shim plan as the levels stand; `at` is the date in the file."""
    return render_pdf(compose_shim_plan(building, at))


def compose_shim_plan(building: Building, at: datetime) -> Report:
    """Compose a shim plan; see `shims_pdf`."""
    found = load_evaluated_plan(building)
    job = building.job
    evaluation = found.evaluation
    read = f"Evaluated {evaluation.input_digest}" if evaluation else "Not evaluated yet"
    return Report(
        title="Shim plan",
        subtitle=building.name,
        job_line=f"{job.number} {job.name}, {job.site}, "
        f"plan revision {found.revision.number}",
        blocks=list(_compose_blocks(found)),
        footer=read,
        made_at=at,
        size=PAPER_SIZES[get_default_style(found.plan.length_unit)],
    )


def _compose_blocks(found: EvaluatedPlan) -> Iterator[Block]:
    hand = QuantityFormatter(get_default_style(found.plan.length_unit))
    shown = build_shim_tables(found)
    yield caution(UNDER_PLATE, ["Columns are raised, never lowered.", SCREENING])
    if len(shown["unmeasured"]) == len(shown["pads"]):
        yield paragraph("No level is read yet: shims are worked out from the levels.")
        return
    yield heading("Pack list", 2)
    packs = [
        [strong(row["thickness"]), str(row["count"])]
        for row in found.levels.get("pack_list") or ()
    ]
    if packs:
        yield table(columns("Thickness", "Plates", numeric=("Plates",)), packs)
    else:
        yield paragraph("Nothing to order.")
    yield from _compose_unshimmed(hand, shown["referred"], shown["unmeasured"])
    yield heading("By position", 2)
    figures = ("Low by", "Shim", "Left over")
    titles = ("Mark", "Wall", "Low by", "Shim", "Stack, thickest first", "Left over")
    over = columns(
        *titles, "Thread", "Done", numeric=figures, wide="Stack, thickest first"
    )
    rows = [_build_row(hand, pad) for pad in shown["shimmed"]]
    if rows:
        yield table(over, rows, tall=True)
    else:
        yield paragraph("No pad needs a shim.")
    yield from _compose_profiles(found, hand)


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
    found: EvaluatedPlan, formatter: QuantityFormatter
) -> Iterator[Block]:
    drawings = draw_profiles(found.plan, found.result, units=formatter.style)
    if drawings:
        yield heading("Levels", 2)
        yield figure_row(
            [render_figure("profile", each, formatter.style) for each in drawings], 2
        )
