"""The shim plan on paper: where plates go, and what to order."""

from collections.abc import Iterator
from datetime import datetime

from checks.drawings.profile import profile_drawings
from checks.drawings.text import units_of
from checks.engine.cautions import SCREENING, UNDER_PLATE
from checks.queries.plans import Drawn, PadRow, drawn_of, shim_tables
from checks.reports.blocks import (
    Block,
    Cell,
    caution,
    columns,
    heading,
    pictures,
    strong,
    table,
    text,
)
from checks.reports.drawn import picture
from checks.reports.hand import Hand
from checks.reports.typeset import SIZES, Report, typeset
from jobs.models import Building


def shims_pdf(building: Building, at: datetime) -> bytes:
    """Print the shim plan as the levels stand; `at` is the date in the file."""
    return typeset(shims_report(building, at))


def shims_report(building: Building, at: datetime) -> Report:
    """Compose a shim plan; see `shims_pdf`."""
    found = drawn_of(building)
    job = building.job
    evaluation = found.evaluation
    read = f"Evaluated {evaluation.input_digest}" if evaluation else "Not evaluated yet"
    return Report(
        title="Shim plan",
        subtitle=building.name,
        place=f"{job.number} {job.name}, {job.site}, "
        f"plan revision {found.revision.number}",
        blocks=list(_blocks(found)),
        foot=read,
        made_at=at,
        size=SIZES[units_of(found.plan.length_unit)],
    )


def _blocks(found: Drawn) -> Iterator[Block]:
    hand = Hand(units_of(found.plan.length_unit))
    shown = shim_tables(found)
    yield caution(UNDER_PLATE, ["Columns are raised, never lowered.", SCREENING])
    if len(shown["unmeasured"]) == len(shown["pads"]):
        yield text("No level is read yet: shims are worked out from the levels.")
        return
    yield heading("Pack list", 2)
    packs = [
        [strong(row["thickness"]), str(row["count"])]
        for row in found.levels.get("pack_list") or ()
    ]
    if packs:
        yield table(columns("Thickness", "Plates", figures=("Plates",)), packs)
    else:
        yield text("Nothing to order.")
    yield from _not_shimmed(hand, shown["referred"], shown["unmeasured"])
    yield heading("By position", 2)
    figures = ("Low by", "Shim", "Left over")
    titles = ("Mark", "Wall", "Low by", "Shim", "Stack, thickest first", "Left over")
    over = columns(
        *titles, "Thread", "Done", figures=figures, wide="Stack, thickest first"
    )
    rows = [_row(hand, pad) for pad in shown["shimmed"]]
    if rows:
        yield table(over, rows, tall=True)
    else:
        yield text("No pad needs a shim.")
    yield from _profiles(found, hand)


def _row(hand: Hand, pad: PadRow) -> list[Cell]:
    left = pad.thread_left
    thread: Cell = "" if left is None else strong("short") if left < 0 else "enough"
    return [
        strong(pad.mark),
        pad.place,
        hand.small(pad.low_by),
        strong(hand.small(pad.shim)),
        " + ".join(pad.stack),
        hand.deviation(pad.residual),
        thread,
        "",
    ]


def _not_shimmed(
    hand: Hand, referred: list[PadRow], unmeasured: list[PadRow]
) -> Iterator[Block]:
    if referred:
        low = ", ".join(f"{pad.mark} ({hand.small(pad.low_by)})" for pad in referred)
        yield caution("For the engineer: too low for shims.", [low])
    if unmeasured:
        marks = ", ".join(pad.mark for pad in unmeasured)
        yield caution("Not levelled yet: the pack list is not complete.", [marks])


def _profiles(found: Drawn, hand: Hand) -> Iterator[Block]:
    drawings = profile_drawings(found.plan, found.result, units=hand.units)
    if drawings:
        yield heading("Levels", 2)
        yield pictures([picture("profile", each, hand.units) for each in drawings], 2)
