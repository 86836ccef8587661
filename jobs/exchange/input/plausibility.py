"""Values that cannot be: one set of rules for every way a value comes in.

A form, a file, a phone, a command and the API all go through the one parser, and that
asks here. What is impossible is refused; what is only unlikely is left to the
evaluation, which asks for a confirmation.

The bounds are project choices, far outside of what a building site has. There is no
clock here: whoever takes a value in hands over the present time. A value that is in the
record already was compared with the time it came in, so none is needed then.
"""

from datetime import UTC, date, datetime, time, timedelta

CLOCK_GRACE = timedelta(minutes=10)
"""A phone's clock may be ahead by so much."""

FIRST_TIME_ZONE = timedelta(hours=14)
"""By so much the first time zone is ahead of UTC."""

EARLIEST_YEAR = 1950
"""Nothing recorded here is older."""

MAX_STRENGTH = (20_000 * 0.45359237 * 9.80665 / 25.4**2, "20,000 psi (138 MPa)")
"""Compressive strength beyond that of any cast foundation. [MPa]"""

MIN_TAPE_DEGC, MAX_TAPE_DEGC = -60.0, 80.0
"""Temperature of a tape, in the shade of the coldest night or in the hottest sun."""

MAX_GRADE_ROD_MM = 10_000.0
"""Longer than any grade rod: 25 ft is the longest in use."""

MAX_SIGHT_MM = 500_000.0
"""Further than a rod can be read with a level."""

MIN_PLUMB_HEIGHT_MM, MAX_PLUMB_HEIGHT_MM = 100.0, 200_000.0
"""Heights over which a column's plumb is read."""

MAX_LEAN_RATIO = 0.25
"""A column that leans by a quarter of its height has fallen."""


def explain_time(moment: datetime, now: datetime) -> str | None:
    """Return why nothing can have been measured at a time; None if it can."""
    if moment > now + CLOCK_GRACE:
        return (
            f"This time is in the future: it is {now:%Y-%m-%d %H:%M} UTC. Correct the "
            "time, or the clock of the device."
        )
    if moment.year < EARLIEST_YEAR:
        return f"This is before {EARLIEST_YEAR}; look for a typing error."
    return None


def explain_history(hours: float, placed_on: date | None, now: datetime) -> str | None:
    """Return why a history of temperatures cannot be so long; None if it can.

    Concrete is placed at the earliest when its day begins in the first time zone.
    """
    if placed_on is None:
        return None
    began = datetime.combine(placed_on, time(), UTC) - FIRST_TIME_ZONE
    since = (now + CLOCK_GRACE - began).total_seconds() / 3600.0
    if hours <= since:
        return None
    return (
        f"These intervals are {hours:,.0f} h together, but the concrete was placed on "
        f"{placed_on}, at the most {max(since, 0.0):,.0f} h ago. What is still to come "
        "belongs to “expected”."
    )


def explain_break_day(broken_on: date, placed_on: date | None) -> str | None:
    """Return why a sample cannot have been broken on a day; None if it can.

    Concrete is not a day old on the day of placing, whatever the time zone.
    """
    if placed_on is None or broken_on > placed_on:
        return None
    when = "on the day" if broken_on == placed_on else "before the day"
    return (
        f"The sample was broken {when} the concrete was placed, {placed_on}. One of "
        "the two dates is wrong."
    )


def explain_lean(lean_mm: float, height_mm: float) -> str | None:
    """Return why a column cannot lean so much over a height; None if it can."""
    if abs(lean_mm) <= MAX_LEAN_RATIO * height_mm:
        return None
    return (
        "A plumb reading is the lean alone: this one is more than a quarter of its "
        "height. Check both values and their units."
    )
