"""Rods within their group, and groups along a column line, by the bases with rules."""

import numpy as np

from checks.engine.arrays import FloatArray
from checks.engine.lines import (
    GroupJudgement,
    LineJudgement,
    LineRules,
    judge_groups,
    judge_line,
)
from checks.methods.model import (
    FOOT,
    INCH,
    Example,
    Method,
    Result,
    Source,
    Symbol,
    given,
    length,
    said,
    within,
)
from checks.methods.notation import formula, frac, sign, total
from checks.tolerances import limits_for
from jobs.plan.model import Tolerances

AISC = Source(
    "AISC 303 (2010) 7.5.1(a), (b), (d) and (e), as quoted in AISC Design Guide 1,"
    " 2nd ed., 2.8",
    "published, seen second-hand",
)
LINE = Source(
    "established column line: the line in the field that best represents the centres"
    " of the groups as built",
    "from memory",
)

FOUR = np.array([[-3.0, -3.0], [3.0, -3.0], [3.0, 3.0], [-3.0, 3.0]]) * INCH
RULES = "aisc-303-2010"


def _one_group() -> Example:
    rules = limits_for(Tolerances(basis=RULES)).line_rules()
    off = np.array([[0.0, 0.0], [3.0, 0.0], [1.0, 0.0], [0.0, 0.0]]) * INCH / 16.0
    found = judge_groups(FOUR, FOUR + off, [0, 0, 0, 0], rules)
    centre = off.mean(axis=0)
    return Example(
        title="Four rods 6 in apart, two of them off along",
        given=(
            given("Rod 2 off the plan", length(off[1, 0], signed=True), " along"),
            given("Rod 3 off the plan", length(off[2, 0], signed=True), " along"),
            given("Rods 1 and 4", "on the plan"),
            given("Limit, any two rods", length(rules.within_group_mm)),
        ),
        steps=(
            said("Centre: (0 + 3/16 + 1/16 + 0) ÷ 4 = ", length(centre[0]), " along."),
            said("Rods 1 and 2: ", length(off[1, 0]), " too far apart."),
        ),
        results=_one_group_results(rules, off, found),
    )


def _one_group_results(
    rules: LineRules,
    off: FloatArray,
    found: GroupJudgement,
) -> tuple[Result, ...]:
    pairs, centre = found.rod_pairs, off.mean(axis=0)
    apart = pairs.deviation_mm[(pairs.first == 0) & (pairs.second == 1)][0]
    return (
        Result(
            "Centre off the plan",
            length(found.centre_deviation_mm[0, 0], signed=True),
            length(centre[0], signed=True),
        ),
        Result(
            "Rod 2 from its centre",
            length(found.rod_deviation_mm[1, 0], signed=True),
            length(off[1, 0] - centre[0], signed=True),
        ),
        Result(
            "Rods 1 and 2, against the plan",
            length(apart, signed=True),
            length(off[1, 0], signed=True),
        ),
        Result(
            "Any two rods of the group",
            within(pairs.within.all()),
            within(off[1, 0] <= rules.within_group_mm),
        ),
    )


def _column_line() -> Example:
    bay, n = 25.0 * FOOT, 5
    rules = limits_for(Tolerances(basis=RULES)).line_rules()
    across = np.array([2, 4, 6, 4, 8]) * INCH / 16.0
    along = np.array([0, 1, 3, 2, 7]) * INCH / 16.0
    planned = np.stack([bay * np.arange(n), np.zeros(n)], axis=1)
    built = planned + np.stack([along, across], axis=1)
    found = judge_line(planned, built, [1.0, 0.0], rules)
    run = np.arange(n) - 2.0
    slope, mean = float(run @ across) / float(run @ run), float(across.mean())
    from_line = across - mean - slope * run
    return Example(
        title="Five groups, 25 ft apart",
        given=(
            given("Off across, in 16ths of an inch", "2, 4, 6, 4, 8"),
            given("Off along, in 16ths of an inch", "0, 1, 3, 2, 7"),
            given("Centre to the line, and neighbours", length(rules.group_to_line_mm)),
            given("Adding up", "1/4 in per 100 ft, 1 in at most"),
        ),
        steps=(
            said("Across, the mean: (2 + 4 + 6 + 4 + 8) ÷ 5 = 4.8 sixteenths."),
            said(
                "Slope: (−2 × 2 − 1 × 4 + 1 × 4 + 2 × 8) ÷ (4 + 1 + 1 + 4) = 1.2"
                " sixteenths a bay."
            ),
            said("Fourth group: 4 − (4.8 + 1.2) = −2 sixteenths off the line."),
            said("Fourth to fifth: 7 − 2 = 5 sixteenths longer than planned."),
            said(
                "First to third, 50 ft: 3 sixteenths, where 50 ÷ 100 × 1/4 in = ",
                length(float(rules.accumulated_limit(2.0 * bay))),
                " is allowed.",
            ),
        ),
        results=_column_line_results(rules, along, found, from_line),
    )


def _column_line_results(
    rules: LineRules,
    along: FloatArray,
    found: LineJudgement,
    from_line: FloatArray,
) -> tuple[Result, ...]:
    near, far = found.adjacent, found.accumulated
    worst = int(np.argmax(np.abs(near.deviation_mm)))
    two = int(np.flatnonzero((far.first == 0) & (far.second == 2))[0])
    return (
        Result(
            "Fourth group off the fitted line",
            length(found.line.deviation_mm[3], signed=True),
            length(from_line[3], signed=True),
        ),
        Result(
            "All groups against the line",
            within(found.to_line_within.all()),
            within(np.abs(from_line).max() <= rules.group_to_line_mm),
        ),
        Result(
            "Worst neighbours",
            length(near.deviation_mm[worst], signed=True),
            length(along[4] - along[3], signed=True),
            leaves_out=5e-4,
        ),
        Result(
            "All neighbours",
            within(near.within.all()),
            within(along[4] - along[3] <= rules.adjacent_groups_mm),
        ),
        Result(
            "First to third",
            length(far.deviation_mm[two], signed=True),
            length(along[2] - along[0], signed=True),
        ),
        Result(
            "Adding up, first to third",
            within(far.within[two]),
            within(along[2] <= INCH / 8.0),
        ),
    )


METHODS = (
    Method(
        slug="rods-of-a-group",
        name="Rods against each other, and the group's centre",
        answers="Whether a group keeps the limits some bases set inside it.",
        engine=("lines",),
        formulas=(
            formula("Δ = | b_j − b_i | − | p_j − p_i |"),
            formula("c =", frac("1", "n"), total("", "(b_i − p_i)")),
        ),
        symbols=(
            Symbol(sign("Δ"), "two rods' distance, against the plan", "mm"),
            Symbol(sign("p , b"), "rods as planned and as built", "mm"),
            Symbol(sign("c"), "centre of the group off the plan", "mm"),
            Symbol(sign("n"), "rods of the group"),
        ),
        sources=(
            AISC,
            Source(
                "EN 1090-2:2008 D.2.20, by the UK National Structural Concrete"
                " Specification, 4th ed., 10.3",
                "published, seen second-hand",
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
    Method(
        slug="column-line",
        name="Established column line",
        answers="Whether groups along a wall keep to one line and to their spacing.",
        engine=("lines",),
        formulas=(
            formula('"least" ', total("", "(a_i − a_0 − b x_i)^2")),
            formula('"adding up: " | Δ | ≤ min(', frac("D", "p"), "t, c)"),
        ),
        symbols=(
            Symbol(sign("a_i"), "centre of a group, off the planned line", "mm"),
            Symbol(sign("x_i"), "its planned place along the line", "mm"),
            Symbol(sign("a_0 , b"), "shift and slope of the fitted line", "mm, 1"),
            Symbol(sign("Δ"), "spacing of two groups, against the plan", "mm"),
            Symbol(sign("D"), "planned distance of the two", "mm"),
            Symbol(sign("t , p , c"), "1/4 in per 100 ft, 1 in at most", "mm"),
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
