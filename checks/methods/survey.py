"""A survey's own frame brought onto the plan."""

from math import atan2, degrees

import numpy as np

from checks.engine import cautions
from checks.engine.arrays import FloatArray
from checks.engine.sources import Provenance
from checks.engine.survey_control import ControlFit, fit_control, transform_to_plan
from checks.methods.mathml import render_formula, render_symbol
from checks.methods.model import (
    Example,
    ExampleResult,
    MethodDescription,
    MethodSource,
    Symbol,
    describe_input,
    show_length,
    show_quantity,
    show_text,
    write_text,
)

METRE = 1000.0


def _four_corners() -> Example:
    plan = np.array([[0.0, 0.0], [40.0, 0.0], [40.0, 30.0], [0.0, 30.0]]) * METRE
    cosine, sine = 0.8, 0.6
    station = np.array([512.0, 268.0]) * METRE
    survey = station + plan @ np.array([[cosine, -sine], [sine, cosine]])
    found = fit_control(plan, survey)
    pad = station + np.array([8.0, -6.0]) * METRE
    brought = transform_to_plan(found, pad[None])[0]
    turned = np.array([cosine * 8.0 - sine * -6.0, sine * 8.0 + cosine * -6.0]) * METRE
    return Example(
        title="Four corners, and a point to be brought along",
        inputs=(
            describe_input("Plan corners", "0, 0; 40, 0; 40, 30; 0, 30 m"),
            describe_input("The first as surveyed", "512 m east, 268 m north"),
            describe_input("The second as surveyed", "544 m east, 244 m north"),
            describe_input("A point as surveyed", "520 m east, 262 m north"),
        ),
        steps=(
            write_text(
                "First to second: 32 m east and 24 m south, 40 m long as planned."
            ),
            write_text("So the survey turns by atan2(24, 32) onto the plan's x axis."),
            write_text(
                "The point is 8 m east and 6 m south of the first corner:"
                " x = 0.8 × 8 + 0.6 × 6, y = 0.6 × 8 − 0.8 × 6."
            ),
        ),
        results=_four_corners_results(found, brought, turned),
    )


def _four_corners_results(
    found: ControlFit, brought: FloatArray, turned: FloatArray
) -> tuple[ExampleResult, ...]:
    return (
        ExampleResult(
            "Turn",
            show_quantity(degrees(found.rotation_rad), "°", 3),
            show_quantity(degrees(atan2(24.0, 32.0)), "°", 3),
        ),
        ExampleResult(
            "Scale left out",
            show_quantity(found.scale, digits=6),
            show_quantity(1.0, digits=6),
        ),
        ExampleResult("Axes", show_text(str(found.sense)), show_text("same")),
        ExampleResult("Point, x", show_length(brought[0]), show_length(turned[0])),
        ExampleResult(
            "Point, y",
            show_length(round(float(brought[1]), 6) + 0.0),
            show_length(round(float(turned[1]), 6) + 0.0),
        ),
    )


METHODS = (
    MethodDescription(
        slug="survey-onto-plan",
        name="Survey onto the plan",
        summary="Where points measured in a total station's own frame are on the plan.",
        engine=("survey_control",),
        formulas=(
            render_formula('a = "sum" (s · p) / "sum" (s · s)'),
            render_formula('b = "sum" (s × p) / "sum" (s · s)'),
            render_formula('θ = "atan2" (b, a)'),
        ),
        symbols=(
            Symbol(
                render_symbol("p"),
                "control points on the plan, about their middle",
                "mm",
            ),
            Symbol(render_symbol("s"), "the same as surveyed, about theirs", "mm"),
            Symbol(render_symbol("θ"), "turn of the survey onto the plan", "rad"),
        ),
        sources=(
            MethodSource(
                "C. D. Ghilani, Adjustment Computations, 5th ed., 2010, chapter 18",
                Provenance.FROM_MEMORY,
            ),
            MethodSource(
                "checked in the tests against scikit-image's transforms",
                Provenance.PROJECT_CHOICE,
            ),
        ),
        limits=(
            "No scale is fitted: tape and total station measure the same lengths. The"
            " scale left out is told, for a wrong unit shows in it.",
            "At least two control points, a metre or more apart; with points in one"
            " line exchanged axes cannot be told.",
            "What the control points are off by goes into everything brought along.",
        ),
        examples=(_four_corners,),
        cautions=(cautions.SCREENING,),
    ),
)
