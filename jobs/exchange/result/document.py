"""The result document `padstone.result/1`, as typed dictionaries.

This is its one definition: evaluation writes it, pages, reports, drawings and the API
read it, and the published JSON Schema is generated from it. Lengths in mm, angles in
rad, strengths in MPa, not rounded; `None` where a value is not known. Members that may
be missing are `NotRequired`; later versions may add some.
"""

from typing import Annotated, NotRequired, Required, TypedDict

from core.vocabulary import StageKind
from jobs.exchange.result.concrete import ConcreteResult
from jobs.exchange.result.findings import (
    CornerMoveResult,
    FindingResult,
    SteelShiftResult,
    VerdictWord,
)
from jobs.exchange.result.fit_up import FitUpResult
from jobs.exchange.result.levels import LevelsResult
from jobs.exchange.result.next_readings import NextReadingResult, SecondReadingResult
from jobs.exchange.schema.typed_schema import MM, RAD, AtLeast, OneOf
from jobs.exchange.vocabulary import RESULT_FORMAT, TOLERANCE_BASES

# ---- tolerances ---------------------------------------------------------------------

_DiameterLimit = TypedDict(  # `from` is a keyword of Python
    "_DiameterLimit", {"from": Annotated[float, "Least rod diameter.", MM]}
)


class DiameterLimitResult(_DiameterLimit):
    """A limit that holds from one rod diameter to the next."""

    limit: Annotated[float, "The limit.", MM]


class LimitResult(TypedDict, total=False):
    """One limit in force: a length in mm, a plain ratio, or an angle in rad."""

    value: Required[
        Annotated[float, "The limit; of a rate, its amount for each `per`."]
    ]
    source: Required[Annotated[str, 'Where it is published, or "override".']]
    mark: Annotated[str, "How the source was seen."]
    per: Annotated[float, "Length that a rate counts in.", MM]
    floor: Annotated[float, "Never less than this.", MM]
    cap: Annotated[float, "Never more than this.", MM]
    lower: Annotated[float, "Least deviation, where the sides differ.", MM]
    upper: Annotated[float, "Most deviation, where the sides differ.", MM]
    by_diameter: list[DiameterLimitResult]
    listed_up_to: Annotated[float, "Largest rod diameter listed.", MM]
    otherwise: Annotated[float | None, "Limit of diameters that are not listed.", MM]
    location: Annotated[
        str,
        OneOf(("line", "specified")),
        "Of rods: from where the plan has them; left out, from the reference line as "
        "built.",
    ]
    measured_as: Annotated[
        str,
        OneOf(("axis", "distance")),
        "Of rods: as a distance in any direction; left out, along each axis.",
    ]


class TolerancesResult(TypedDict, total=False):
    """Each limit in force, by its key; a group rule only where the basis has it."""

    basis: Required[Annotated[str, OneOf(TOLERANCE_BASES), "The tolerance basis."]]
    guarded: Annotated[bool, "True where uncertainty narrows the limits."]
    diagonals: LimitResult
    wall: LimitResult
    line: LimitResult
    bay: LimitResult
    span: LimitResult
    rod_location: LimitResult
    column_turn: LimitResult
    re_anchor_beyond: LimitResult
    projection: LimitResult
    pad_level: LimitResult
    shim_up_to: LimitResult
    strength_ratio: LimitResult
    plumb: LimitResult
    notch: LimitResult
    level_misclosure: LimitResult
    within_group: LimitResult
    adjacent_groups: LimitResult
    accumulated: LimitResult
    group_to_line: LimitResult
    group_centre: LimitResult
    rod_from_group_centre: LimitResult


# ---- checks and squareness ----------------------------------------------------------


class SetAsideResult(TypedDict):
    """A current reading that two or more others outweigh."""

    reading: Annotated[str, "Its id."]
    reason: Annotated[str, "Why it is left out of the mean."]


class CheckResult(TypedDict, total=False):
    """One check: a length in mm, or a strength in MPa."""

    check: Required[Annotated[str, "The check's key."]]
    nominal: Required[Annotated[float | None, "What the plan says."]]
    observed: Required[
        Annotated[
            float | None,
            "Mean of the current readings, corrected; null where they contradict.",
        ]
    ]
    deviation: Required[Annotated[float | None, "Observed minus nominal."]]
    limit: Required[Annotated[float | None, "Largest deviation allowed, either way."]]
    verdict: Required[VerdictWord]
    uncertainty: Annotated[float | None, "Standard uncertainty, 1 sigma."]
    probability: Annotated[float | None, "Probability of conformance (JCGM 106)."]
    close_to_limit: Annotated[
        bool, "True where a second reading would be worth taking."
    ]
    second_reading: Annotated[
        SecondReadingResult | None, "The reading that would settle it best."
    ]
    readings: Annotated[int, AtLeast(0), "Number of current readings."]
    kind: Annotated[str, "First word of the key."]
    mark: Annotated[str | None, "Of the position, where it is at one."]
    marks: Annotated[list[str], "Of the two positions of a bay or span."]
    rods: list[Annotated[int, AtLeast(1), "A rod's number."]]
    lower: Annotated[float | None, "Least deviation allowed."]
    upper: Annotated[float | None, "Most deviation allowed."]
    spread: Annotated[float | None, "Range of the current readings."]
    correction: Annotated[float | None, "Tape correction added to the mean reading."]
    reading_ids: Annotated[list[str], "Ids of the current readings."]
    set_aside: Annotated[
        list[SetAsideResult], "Current readings left out, as others agree."
    ]
    reason: Annotated[str | None, "Why it is unmeasured or must be measured again."]
    better_measurement: Annotated[
        str | None, "Where the uncertainty is larger than the limit: what would do."
    ]
    required: Annotated[bool, "True where a release waits for it."]
    stage: Annotated[str, OneOf(StageKind), "First stage it can be measured in."]


class AdjustedCornerResult(TypedDict, total=False):
    """Where the adjustment puts a corner."""

    corner: Required[Annotated[str, "Its name."]]
    dx: Annotated[float | None, "As built minus planned, plan axes.", MM]
    dy: Annotated[float | None, "As built minus planned, plan axes.", MM]


class AdjustedLengthResult(TypedDict, total=False):
    """A wall or diagonal that entered the adjustment."""

    check: Required[Annotated[str, "The check's key."]]
    residual: Annotated[
        float | None,
        "Adjusted minus observed, without what it shares with its tape and day.",
        MM,
    ]
    redundancy: Annotated[float | None, "Share of an error that shows in the residual."]
    w: Annotated[float | None, "Residual over its standard deviation."]
    error: Annotated[
        float | None, "What it reads too much if all other lengths are right.", MM
    ]
    detectable: Annotated[
        float | None, "Misreading that the others would show 8 times in 10.", MM
    ]


class CommonErrorResult(TypedDict, total=False):
    """An error that the lengths of one tape or one day have in common."""

    kind: Required[Annotated[str, OneOf(("tape", "day")), "Of a tape or of a day."]]
    name: Required[
        Annotated[str, "The instrument, or the day; empty where none was named."]
    ]
    estimate: Annotated[float | None, "In standard deviations of what is expected."]
    redundancy: Annotated[float | None, "Share of it that the lengths can show."]
    w: Annotated[float | None, "Estimate over its standard deviation."]
    suspect: Annotated[bool, "True where it is larger than its class or day allows."]


class SuspectReadingResult(TypedDict, total=False):
    """A length that the others contradict."""

    check: Required[Annotated[str, "The check's key."]]
    readings: Annotated[list[str], "Ids of its readings."]
    w: Annotated[float | None, "Residual over its standard deviation."]
    error: Annotated[
        float | None, "What it reads too much if all other lengths are right.", MM
    ]


class SquarenessResult(TypedDict, total=False):
    """The outline, adjusted by least squares from its walls and diagonals."""

    verdict: Required[VerdictWord]
    difference: Annotated[float | None, "Of the two diagonals.", MM]
    limit: Annotated[float | None, "Of the difference.", MM]
    uncertainty: Annotated[
        float | None,
        "Standard uncertainty of the difference; what one tape has in common cancels.",
        MM,
    ]
    probability: Annotated[float | None, "Probability of conformance (JCGM 106)."]
    lean: Annotated[float | None, "Skew of the adjusted outline.", RAD]
    corners: list[AdjustedCornerResult] | None
    reference_variance: Annotated[float | None, "A posteriori."]
    suspect_readings: Annotated[
        list[SuspectReadingResult], "Lengths that the others contradict."
    ]
    determined: Annotated[bool, "True where the lengths read fix the outline."]
    outcome: Annotated[str, "Outcome of the adjustment."]
    note: Annotated[str | None, "Reason for the outcome."]
    degrees_of_freedom: Annotated[int, "Lengths read minus unknowns."]
    cannot_tell_which: Annotated[
        bool, "True where one length is wrong and it may be any of them."
    ]
    missing_readings: Annotated[list[str], "Checks that would fix the outline."]
    lengths: list[AdjustedLengthResult]
    square_up: Annotated[
        list[CornerMoveResult], "Any one of them squares the outline up."
    ]
    contradiction: Annotated[
        float | None,
        "Least misreading of one length that would explain why they contradict.",
        MM,
    ]
    common_errors: Annotated[
        list[CommonErrorResult], "What the lengths have in common."
    ]


# ---- positions ----------------------------------------------------------------------

_RodAxes = TypedDict(  # `in` is a keyword of Python
    "_RodAxes", {"in": NotRequired[Annotated[float | None, "From the steel line.", MM]]}
)


class RodResult(_RodAxes, total=False):
    """One rod of a position, as built."""

    rod: Required[Annotated[int, AtLeast(1), "Its number."]]
    verdict: Required[VerdictWord]
    along: Annotated[float | None, "From the planned reference line.", MM]
    d_along: Annotated[float | None, "As built minus planned.", MM]
    d_in: Annotated[float | None, "As built minus planned.", MM]
    miss: Annotated[float | None, "Distance from plan to as built.", MM]
    limit: Annotated[
        float | None,
        "Of its location, which `tolerances` says how to measure.",
        MM,
    ]
    determined: Annotated[bool, "True where its readings fix its place."]
    planned_along: Annotated[float | None, "Planned, from the reference line.", MM]
    planned_in: Annotated[float | None, "Planned, from the steel line.", MM]
    other_along: Annotated[
        float | None, "The place further from the plan that its gages allow, too.", MM
    ]
    other_in: Annotated[float | None, "Of the same place, from the steel line.", MM]


class PlatePlacementResult(TypedDict, total=False):
    """Best placement of a base plate over the rods as built, free or within limits."""

    overrun: Required[
        Annotated[
            float | None,
            "Interference; zero or less fits, its amount is the slack.",
            MM,
        ]
    ]
    fits: Required[
        Annotated[bool, "True where the plate fits over the rods at a placement."]
    ]
    hole_needed: Required[
        Annotated[
            float | None,
            "The one diameter that, for all holes, makes the plate fit.",
            MM,
        ]
    ]
    shift_along: Annotated[float | None, "Of the plate, along.", MM]
    shift_in: Annotated[float | None, "Of the plate, inward.", MM]
    turn: Annotated[float | None, "Of the plate, counter-clockwise.", RAD]


class PlateFitResult(PlatePlacementResult, total=False):
    """Free placement of the base plate; `bounded` decides whether it goes on."""

    hole_diameter: Annotated[float | None, "As punched.", MM]
    bounded: Annotated[
        PlatePlacementResult,
        "Within the line tolerance and the turn of a column: this placement decides.",
    ]


class PositionResult(TypedDict, total=False):
    """One position: its rods, the shift of the group, and the fit of the plate."""

    mark: Required[Annotated[str, "Its mark."]]
    rods: Required[list[RodResult]]
    shift_along: Annotated[
        float | None, "Of the group from plan to as built, along.", MM
    ]
    shift_in: Annotated[float | None, "Of the group from plan to as built, inward.", MM]
    turn: Annotated[float | None, "Of the group, counter-clockwise.", RAD]
    plate_fit: PlateFitResult | None
    note: Annotated[
        str | None, "Why the group could not be fitted, or what it leaves open."
    ]
    line_deviation: Annotated[
        float | None, "Of its reference line, along the wall.", MM
    ]
    x: Annotated[float | None, "Planned origin, plan axes.", MM]
    y: Annotated[float | None, "Planned origin, plan axes.", MM]
    angle: Annotated[float | None, "Of its along axis, from the plan's x axis.", RAD]


class GroupRuleResult(TypedDict, total=False):
    """A rule of the basis on groups of rods, where it was applied."""

    rule: Required[Annotated[str, "Its key in the basis."]]
    marks: Required[Annotated[list[str], "The positions it compares."]]
    verdict: Required[VerdictWord]
    source: Annotated[str, "Where it is published."]
    where: Annotated[str, "The wall, line or position."]
    deviation: Annotated[float | None, "As built.", MM]
    limit: Annotated[float | None, "Allowed.", MM]


# ---- the document -------------------------------------------------------------------


class PlanWarningResult(TypedDict):
    """Something on the plan that no measurement makes right."""

    pointer: Annotated[str, "JSON Pointer to its place in the document."]
    message: Annotated[str, "What is wrong."]


class ResultDocument(TypedDict):
    """The computed result of a building.

    Lengths in mm, angles in rad, strengths in MPa, not rounded. Screening arithmetic,
    not design: the engineer of record, the manufacturer's drawings and local codes
    govern.
    """

    format: Annotated[str, OneOf((RESULT_FORMAT,)), "Name and version of the format."]
    building: Annotated[str, "Its name."]
    evaluated_with: Annotated[str, "The program and its version."]
    tolerances: TolerancesResult
    checks: Annotated[list[CheckResult], "In the order of the plan."]
    squareness: SquarenessResult | None
    positions: Annotated[list[PositionResult], "In the order of the plan."]
    levels: LevelsResult | None
    concrete: ConcreteResult | None
    findings: Annotated[list[FindingResult], "What needs a decision."]
    group_rules: NotRequired[
        Annotated[list[GroupRuleResult], "Rules of the basis on groups of rods."]
    ]
    steel_shifts: NotRequired[
        Annotated[
            list[SteelShiftResult],
            "Moves of the steel that leave fewer positions to rework: an alternative "
            "for the engineer, never applied by itself.",
        ]
    ]
    fit_up: NotRequired[FitUpResult | None]
    next_readings: NotRequired[
        Annotated[
            list[NextReadingResult],
            "What to read next, in this order; none where nothing is worth it.",
        ]
    ]
    plan_warnings: NotRequired[
        Annotated[
            list[PlanWarningResult], "Doubts about the plan itself; none is refused."
        ]
    ]
    cautions: NotRequired[
        Annotated[list[str], "Standing cautions, whatever the verdicts."]
    ]
