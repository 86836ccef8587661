"""A record's drawings for paper: the plan, the levels, the positions that matter."""

from collections.abc import Iterator
from typing import Any

from checks.drawings.outline import outline_drawing
from checks.drawings.pattern import pattern_drawing
from checks.drawings.profile import profile_drawings
from checks.drawings.svg import svg
from checks.drawings.text import Units
from checks.reports.account import Account
from checks.reports.blocks import Block, Picture, heading, pictures, text

ROD_TOPICS = ("position:", "projection:")
SEEN = (
    "Seen from above, from outside the wall looking in: along to the right, in upward."
)


def picture(name: str, drawing: Any, units: Units) -> Picture:
    """Write a drawing on its own, with its looks inside."""
    written = svg(name, drawing, units, standalone=True)
    return Picture(
        # The fraction slash makes figures of half the size: too small beside lines.
        svg=written.replace("\N{FRACTION SLASH}", "/"),
        width=drawing.width,
        height=drawing.height,
        described=f"{drawing.title}. {drawing.description}".strip(),
    )


def plan_as_built(account: Account, *, new_page: bool = True) -> Iterator[Block]:
    """The plan with what was measured of it."""
    units = account.hand.units
    drawing = outline_drawing(account.plan, account.judged.result, units=units)
    yield heading("Plan as built", new_page=new_page)
    yield pictures([picture("outline", drawing, units)])


def levels(account: Account) -> Iterator[Block]:
    """The pads along each wall; nothing where none was levelled."""
    units = account.hand.units
    drawings = profile_drawings(account.plan, account.judged.result, units=units)
    if drawings:
        yield heading("Levels", 2)
        yield pictures([picture("profile", each, units) for each in drawings], 2)


def patterns(account: Account) -> Iterator[Block]:
    """The positions whose rods are not within, or have or had a finding."""
    found = {
        topic.partition(":")[2]
        for row in account.record["findings"]
        if (topic := row["finding"]).startswith(ROD_TOPICS)
    }
    marks = [
        place.mark
        for place in account.plan.positions
        if place.mark in found
        or account.judged.verdict_of(place.mark) in ("outside", "remeasure")
    ]
    if not marks or account.judged.result is None:
        return
    yield heading("Positions with findings", 2)
    units = account.hand.units
    drawings = [
        pattern_drawing(account.plan, mark, account.judged.result, units=units)
        for mark in marks
    ]
    yield pictures([picture("pattern", each, units) for each in drawings], 2)
    yield text(f"{SEEN} At no other position is a rod known to be out.", quiet=True)
