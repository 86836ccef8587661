"""Rods within their group, and groups along a column line, by the bases with rules."""

import numpy as np

from checks.engine.arrays import FloatArray
from checks.engine.group_tolerances import (
    ColumnLineAssessment,
    GroupAssessment,
    GroupRules,
    assess_column_line,
    assess_groups,
)
from checks.engine.sources import Provenance
from checks.methods.mathml import (
    render_formula,
    render_fraction,
    render_sum,
    render_symbol,
)
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
    show_length,
    write_text,
)
from checks.tolerances.limits import resolve_limits
from jobs.anchor_plan.values import ToleranceSpec

AISC = MethodSource(
    "AISC 303 (2010) 7.5.1(a), (b), (d) and (e), as quoted in AISC Design Guide 1,"
    " 2nd ed., 2.8",
    Provenance.SECOND_HAND,
)
LINE = MethodSource(
    "established column line: the line in the field that best represents the centres"
    " of the groups as built",
    Provenance.FROM_MEMORY,
)

FOUR = np.array([[-3.0, -3.0], [3.0, -3.0], [3.0, 3.0], [-3.0, 3.0]]) * INCH_MM
RULES = "aisc-303-2010"


def _one_group() -> Example:
    rules = resolve_limits(ToleranceSpec(basis=RULES)).group_rules()
    off = np.array([[0.0, 0.0], [3.0, 0.0], [1.0, 0.0], [0.0, 0.0]]) * INCH_MM / 16.0
    found = assess_groups(FOUR, FOUR + off, [0, 0, 0, 0], rules)
    centre = off.mean(axis=0)
    return Example(
        title="Four rods 6 in apart, two of them off along",
        inputs=(
            describe_input(
                "Rod 2 off the plan", show_length(off[1, 0], signed=True), " along"
            ),
            describe_input(
                "Rod 3 off the plan", show_length(off[2, 0], signed=True), " along"
            ),
            describe_input("Rods 1 and 4", "on the plan"),
            describe_input("Limit, any two rods", show_length(rules.within_group_mm)),
        ),
        steps=(
            write_text(
                "Centre: (0 + 3/16 + 1/16 + 0) ÷ 4 = ",
                show_length(centre[0]),
                " along.",
            ),
            write_text("Rods 1 and 2: ", show_length(off[1, 0]), " too far apart."),
        ),
        results=_one_group_results(rules, off, found),
    )


def _one_group_results(
    rules: GroupRules,
    off: FloatArray,
    found: GroupAssessment,
) -> tuple[ExampleResult, ...]:
    pairs, centre = found.rod_pairs, off.mean(axis=0)
    apart = pairs.deviation_mm[(pairs.first == 0) & (pairs.second == 1)][0]
    return (
        ExampleResult(
            "Centre off the plan",
            show_length(found.centre_deviation_mm[0, 0], signed=True),
            show_length(centre[0], signed=True),
        ),
        ExampleResult(
            "Rod 2 from its centre",
            show_length(found.rod_deviation_mm[1, 0], signed=True),
            show_length(off[1, 0] - centre[0], signed=True),
        ),
        ExampleResult(
            "Rods 1 and 2, against the plan",
            show_length(apart, signed=True),
            show_length(off[1, 0], signed=True),
        ),
        ExampleResult(
            "Any two rods of the group",
            show_conformity(pairs.within.all()),
            show_conformity(off[1, 0] <= rules.within_group_mm),
        ),
    )


def _column_line() -> Example:
    bay, n = 25.0 * FOOT_MM, 5
    rules = resolve_limits(ToleranceSpec(basis=RULES)).group_rules()
    across = np.array([2, 4, 6, 4, 8]) * INCH_MM / 16.0
    along = np.array([0, 1, 3, 2, 7]) * INCH_MM / 16.0
    planned = np.stack([bay * np.arange(n), np.zeros(n)], axis=1)
    built = planned + np.stack([along, across], axis=1)
    found = assess_column_line(planned, built, [1.0, 0.0], rules)
    run = np.arange(n) - 2.0
    slope, mean = float(run @ across) / float(run @ run), float(across.mean())
    from_line = across - mean - slope * run
    return Example(
        title="Five groups, 25 ft apart",
        inputs=(
            describe_input("Off across, in 16ths of an inch", "2, 4, 6, 4, 8"),
            describe_input("Off along, in 16ths of an inch", "0, 1, 3, 2, 7"),
            describe_input(
                "Centre to the line, and neighbours",
                show_length(rules.group_to_line_mm),
            ),
            describe_input("Adding up", "1/4 in per 100 ft, 1 in at most"),
        ),
        steps=(
            write_text("Across, the mean: (2 + 4 + 6 + 4 + 8) ÷ 5 = 4.8 sixteenths."),
            write_text(
                "Slope: (−2 × 2 − 1 × 4 + 1 × 4 + 2 × 8) ÷ (4 + 1 + 1 + 4) = 1.2"
                " sixteenths a bay."
            ),
            write_text("Fourth group: 4 − (4.8 + 1.2) = −2 sixteenths off the line."),
            write_text("Fourth to fifth: 7 − 2 = 5 sixteenths longer than planned."),
            write_text(
                "First to third, 50 ft: 3 sixteenths, where 50 ÷ 100 × 1/4 in = ",
                show_length(float(rules.accumulated_limit(2.0 * bay))),
                " is allowed.",
            ),
        ),
        results=_column_line_results(rules, along, found, from_line),
    )


def _column_line_results(
    rules: GroupRules,
    along: FloatArray,
    found: ColumnLineAssessment,
    from_line: FloatArray,
) -> tuple[ExampleResult, ...]:
    near, far = found.adjacent, found.accumulated
    worst = int(np.argmax(np.abs(near.deviation_mm)))
    two = int(np.flatnonzero((far.first == 0) & (far.second == 2))[0])
    return (
        ExampleResult(
            "Fourth group off the fitted line",
            show_length(found.line.deviation_mm[3], signed=True),
            show_length(from_line[3], signed=True),
        ),
        ExampleResult(
            "All groups against the line",
            show_conformity(found.to_line_within.all()),
            show_conformity(np.abs(from_line).max() <= rules.group_to_line_mm),
        ),
        ExampleResult(
            "Worst neighbours",
            show_length(near.deviation_mm[worst], signed=True),
            show_length(along[4] - along[3], signed=True),
            hand_tolerance=5e-4,
        ),
        ExampleResult(
            "All neighbours",
            show_conformity(near.within.all()),
            show_conformity(along[4] - along[3] <= rules.adjacent_groups_mm),
        ),
        ExampleResult(
            "First to third",
            show_length(far.deviation_mm[two], signed=True),
            show_length(along[2] - along[0], signed=True),
        ),
        ExampleResult(
            "Adding up, first to third",
            show_conformity(far.within[two]),
            show_conformity(along[2] <= INCH_MM / 8.0),
        ),
    )


METHODS = (
    MethodDescription(
        slug="rods-of-a-group",
        name="Rods against each other, and the group's centre",
        summary="Whether a group keeps the limits some bases set inside it.",
        engine=("group_tolerances",),
        formulas=(
            render_formula("Δ = | b_j − b_i | − | p_j − p_i |"),
            render_formula(
                "c =", render_fraction("1", "n"), render_sum("", "(b_i − p_i)")
            ),
        ),
        symbols=(
            Symbol(render_symbol("Δ"), "two rods' distance, against the plan", "mm"),
            Symbol(render_symbol("p , b"), "rods as planned and as built", "mm"),
            Symbol(render_symbol("c"), "centre of the group off the plan", "mm"),
            Symbol(render_symbol("n"), "rods of the group"),
        ),
        sources=(
            AISC,
            MethodSource(
                "EN 1090-2:2008 D.2.20, by the UK National Structural Concrete"
                " Specification, 4th ed., 10.3",
                Provenance.SECOND_HAND,
            ),
        ),
        limits=(
            "Only where the building's basis has the rule; metal building practice"
            " has none.",
            "A group with a rod not determined is not judged.",
            "A group's centre is never within while its line was not measured.",
        ),
        examples=(_one_group,),
    ),
    MethodDescription(
        slug="column-line",
        name="Established column line",
        summary="Whether groups along a wall keep to one line and to their spacing.",
        engine=("group_tolerances",),
        formulas=(
            render_formula('"least" ', render_sum("", "(a_i − a_0 − b x_i)^2")),
            render_formula(
                '"adding up: " | Δ | ≤ min(', render_fraction("D", "p"), "t, c)"
            ),
        ),
        symbols=(
            Symbol(
                render_symbol("a_i"), "centre of a group, off the planned line", "mm"
            ),
            Symbol(render_symbol("x_i"), "its planned place along the line", "mm"),
            Symbol(
                render_symbol("a_0 , b"), "shift and slope of the fitted line", "mm, 1"
            ),
            Symbol(render_symbol("Δ"), "spacing of two groups, against the plan", "mm"),
            Symbol(render_symbol("D"), "planned distance of the two", "mm"),
            Symbol(render_symbol("t , p , c"), "1/4 in per 100 ft, 1 in at most", "mm"),
        ),
        sources=(AISC, LINE),
        limits=(
            "Only where the building's basis has the rules.",
            "Groups of one wall: nothing that is read ties one wall's groups to"
            " another's.",
            "Spacing is judged only where both reference lines were measured. A group"
            " that was not measured still stands between its neighbours.",
            "Neighbours by the distance of their centres; what adds up, along the line"
            " and with a group between.",
        ),
        examples=(_column_line,),
    ),
)
