"""Columns out of plumb."""

from math import atan2, degrees, hypot

from checks.engine import cautions
from checks.engine.plumb import judge_plumb
from checks.methods.model import (
    FOOT,
    INCH,
    Example,
    Method,
    Result,
    Source,
    Symbol,
    amount,
    fine,
    given,
    length,
    said,
    within,
)
from checks.methods.notation import formula, frac, sign
from checks.tolerances import limits_for
from jobs.plan.model import Tolerances


def _leaning() -> Example:
    height, along, inward = 20.0 * FOOT, INCH / 4.0, -5.0 * INCH / 8.0
    ratio = limits_for(Tolerances()).plumb()
    found = judge_plumb([along, inward], height, ratio)
    limit = height / 500.0
    return Example(
        title="A column of 20 ft",
        given=(
            given("Height between the marks", length(height)),
            given("Top leans", length(along, signed=True), " along, ",
                  length(inward, signed=True), " in"),
        ),
        steps=(
            said(length(height), " ÷ 500 = ", fine(limit), "."),
            said(length(along), " is within it, ", length(-inward), " is not."),
            said("Together √(", length(along), "² + ", length(-inward), "²) = ",
                 fine(hypot(along, inward)), "."),
        ),
        results=(
            Result("Allowed each way", fine(float(found.limit_mm)), fine(limit)),
            Result("Along", within(found.within[0]), within(along <= limit)),
            Result("In", within(found.within[1]), within(-inward <= limit)),
            Result("Move the top, along", length(found.movement_mm[0], signed=True),
                   length(-along, signed=True)),
            Result("Move the top, in", length(found.movement_mm[1], signed=True),
                   length(-inward, signed=True)),
            Result("Lean, both together", fine(float(found.lean_mm)),
                   fine(hypot(along, inward))),
            Result("Towards, from along counter-clockwise",
                   amount(degrees(float(found.direction_rad)), "°", 0),
                   amount(degrees(atan2(inward, along)), "°", 0)),
        ),
    )  # fmt: skip


METHODS = (
    Method(
        slug="plumb",
        name="Plumb of columns",
        answers="Whether a column stands upright, and how far to move its top.",
        engine=("plumb",),
        formulas=(
            formula("| l | ≤", frac("h", "500")),
            formula('"move" = − l'),
        ),
        symbols=(
            Symbol(sign("l"), "lean, top less base, along and in by themselves", "mm"),
            Symbol(sign("h"), "height over which it was measured", "mm"),
        ),
        sources=(
            Source("AISC 303-16, 7.13.1.1, page 16.3-49: 1/500 of the height",
                   "published"),
            Source("geometry", "ours"),
        ),
        limits=(
            "Other bases may have other ratios; the building's own is used.",
            "Sun on one side bends a column: read early, or on a dull day (common"
            " practice).",
            "Leans read over several heights are taken over the greatest of them.",
        ),
        examples=(_leaning,),
        cautions=(cautions.SCREENING,),
    ),
)  # fmt: skip
