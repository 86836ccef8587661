"""Columns out of plumb."""

from math import atan2, degrees, hypot

from checks.engine import cautions
from checks.engine.plumb import assess_plumb
from checks.engine.sources import Provenance
from checks.methods.mathml import render_formula, render_fraction, render_symbol
from checks.methods.model import (
    FOOT_MM,
    INCH_MM,
    Example,
    ExampleResult,
    MethodDescription,
    MethodSource,
    Symbol,
    describe_input,
    show_conformity,
    show_fine_length,
    show_length,
    show_quantity,
    write_text,
)
from checks.tolerances.limits import resolve_limits
from jobs.anchor_plan.values import ToleranceSpec


def _leaning() -> Example:
    height, along, inward = 20.0 * FOOT_MM, INCH_MM / 4.0, -5.0 * INCH_MM / 8.0
    ratio = resolve_limits(ToleranceSpec()).plumb()
    found = assess_plumb([along, inward], height, ratio)
    limit = height / 500.0
    return Example(
        title="A column of 20 ft",
        inputs=(
            describe_input("Height between the marks", show_length(height)),
            describe_input(
                "Top leans",
                show_length(along, signed=True),
                " along, ",
                show_length(inward, signed=True),
                " in",
            ),
        ),
        steps=(
            write_text(show_length(height), " ÷ 500 = ", show_fine_length(limit), "."),
            write_text(
                show_length(along), " is within it, ", show_length(-inward), " is not."
            ),
            write_text(
                "Together √(",
                show_length(along),
                "² + ",
                show_length(-inward),
                "²) = ",
                show_fine_length(hypot(along, inward)),
                ".",
            ),
        ),
        results=(
            ExampleResult(
                "Allowed each way",
                show_fine_length(float(found.limit_mm)),
                show_fine_length(limit),
            ),
            ExampleResult(
                "Along",
                show_conformity(found.within[0]),
                show_conformity(along <= limit),
            ),
            ExampleResult(
                "In",
                show_conformity(found.within[1]),
                show_conformity(-inward <= limit),
            ),
            ExampleResult(
                "Move the top, along",
                show_length(found.movement_mm[0], signed=True),
                show_length(-along, signed=True),
            ),
            ExampleResult(
                "Move the top, in",
                show_length(found.movement_mm[1], signed=True),
                show_length(-inward, signed=True),
            ),
            ExampleResult(
                "Lean, both together",
                show_fine_length(float(found.out_of_plumb_mm)),
                show_fine_length(hypot(along, inward)),
            ),
            ExampleResult(
                "Towards, from along counter-clockwise",
                show_quantity(degrees(float(found.direction_rad)), "°", 0),
                show_quantity(degrees(atan2(inward, along)), "°", 0),
            ),
        ),
    )


METHODS = (
    MethodDescription(
        slug="plumb",
        name="Plumb of columns",
        summary="Whether a column stands upright, and how far to move its top.",
        engine=("plumb",),
        formulas=(
            render_formula("| l | ≤", render_fraction("h", "500")),
            render_formula('"move" = − l'),
        ),
        symbols=(
            Symbol(
                render_symbol("l"),
                "lean, top less base, along and in by themselves",
                "mm",
            ),
            Symbol(render_symbol("h"), "height over which it was measured", "mm"),
        ),
        sources=(
            MethodSource(
                "AISC 303-16, 7.13.1.1, page 16.3-49: 1/500 of the height",
                Provenance.PUBLISHED,
            ),
            MethodSource("geometry", Provenance.PROJECT_CHOICE),
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
)
