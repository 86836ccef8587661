"""The blank sheet on paper, for a crew to write on."""

from collections.abc import Iterator
from dataclasses import replace
from datetime import datetime

from checks.drawings.outline import outline_drawing
from checks.drawings.pattern import pattern_drawing
from checks.drawings.text import units_of
from checks.queries.walk import SheetRow, blank_walk
from checks.reports.blocks import (
    Block,
    Cell,
    Column,
    code,
    heading,
    pictures,
    table,
    text,
)
from checks.reports.drawn import SEEN, picture
from checks.reports.hand import Hand
from checks.reports.typeset import SIZES, Report, typeset
from jobs.models import Building
from jobs.plan.model import Plan
from jobs.plans import plan_of

BY_HAND = ("Measured by", "Date", "Tape", "Level", "Temperature")
WRITE_MM = 34.0
NAMED = 12  # positions of a detail; more are counted


def sheet_pdf(building: Building, at: datetime, *, expected: bool = False) -> bytes:
    """Print the sheet of the plan in force.

    Parameters
    ----------
    building : what is to be measured.
    at : the date in the file.
    expected : whether the plan's figures stand on it. Without them nobody reads what
        they expect.
    """
    return typeset(sheet_report(building, at, expected=expected))


def sheet_report(building: Building, at: datetime, *, expected: bool) -> Report:
    """Compose a sheet; see `sheet_pdf`."""
    revision = building.current_revision()
    plan = plan_of(revision)
    hand = Hand(units_of(plan.length_unit))
    job = building.job
    return Report(
        title="Check sheet",
        subtitle=building.name,
        place=f"{job.number} {job.name}, {job.site}, plan revision {revision.number}",
        blocks=list(_blocks(plan, hand, expected=expected)),
        foot=f"Plan SHA-256 {revision.digest}",
        made_at=at,
        tagged=False,
        size=SIZES[hand.units],
    )


def _blocks(plan: Plan, hand: Hand, *, expected: bool) -> Iterator[Block]:
    by_hand = [Column(title=title, share=1.0) for title in BY_HAND]
    yield table(by_hand, [[" "] * len(BY_HAND)], tall=True)
    yield from _map(plan, hand)
    titles = [Column(title="What", share=1.0)]
    if expected:
        titles.append(Column(title="Plan", figures=True))
    titles += [
        Column(title="Reading", width_mm=WRITE_MM),
        Column(title="Again", width_mm=WRITE_MM),
        Column(title="Key"),
    ]
    for section in blank_walk(plan):
        yield heading(section.title, 2)
        yield text(section.hint, quiet=True, keep=True)
        rows = [_row(row, hand, expected=expected) for row in section.rows]
        yield table(titles, rows, tall=True)


def _map(plan: Plan, hand: Hand) -> Iterator[Block]:
    """Where everything is and how rods are numbered, with no figure that is read."""
    drawing = outline_drawing(plan, units=hand.units)
    drawing = replace(
        drawing,
        walls=tuple(replace(line, label=None) for line in drawing.walls),
        diagonals=tuple(replace(line, label=None) for line in drawing.diagonals),
    )
    yield pictures([picture("outline", drawing, hand.units)], tallest_mm=120.0)
    yield heading("How rods are numbered", 2)
    marks: dict[str, list[str]] = {}
    for place in plan.positions:
        marks.setdefault(place.detail, []).append(place.mark)
    drawings = []
    for detail, places in marks.items():
        pattern = pattern_drawing(plan, places[0], units=hand.units)
        pattern = replace(pattern, setbacks=(), offsets=())
        drawn = picture("pattern", pattern, hand.units)
        at = f"Detail {detail}: {_listed(places)}"
        drawings.append(replace(drawn, described=at, caption=at))
    yield pictures(drawings, 2, tallest_mm=90.0)
    yield text(SEEN, quiet=True)


def _listed(marks: list[str]) -> str:
    named = ", ".join(marks[:NAMED])
    rest = len(marks) - NAMED
    return f"{named} and {rest} more" if rest > 0 else named


def _row(row: SheetRow, hand: Hand, *, expected: bool) -> list[Cell]:
    words = row.words if row.check.required else f"{row.words} (if wanted)"
    nominal = row.check.nominal
    plan = ["alike" if nominal is None else hand.length(nominal)] if expected else []
    return [words, *plan, "", "", code(row.check.key)]
