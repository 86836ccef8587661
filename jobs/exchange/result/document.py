"""The result document `padstone.result/1`, as typed dictionaries.

This is its one definition: evaluation writes it, pages, reports, drawings and the API
read it, and the published JSON Schema is generated from it. Lengths in mm, angles in
rad, strengths in MPa, not rounded; `None` where a value is not known. Members that may
be missing are `NotRequired`; later versions may add some.
"""

from typing import Annotated, NotRequired, TypedDict

from core.vocabulary import StageKind, Verdict
from jobs.exchange.result.concrete import ConcreteResult
from jobs.exchange.result.findings import (
    CornerMoveResult,
    FindingResult,
    LoweredPadResult,
    SteelShiftResult,
    VerdictWord,
)
from jobs.exchange.schema.typed_schema import MM, RAD, AtLeast, OneOf
from jobs.exchange.vocabulary import RESULT_FORMAT, TOLERANCE_BASES

# ---- tolerances ---------------------------------------------------------------------

_DiameterLimit = TypedDict(  # `from` is a keyword of Python
    "_DiameterLimit", {"from": Annotated[float, "Least rod diameter.", MM]}
)


class DiameterLimitResult(_DiameterLimit):
    """A limit that holds from one rod diameter to the next."""

    limit: Annotated[float, "The limit.", MM]


class LimitResult(TypedDict):
    """One limit in force: a length in mm, or a plain ratio."""

    value: Annotated[float, "The limit; of a rate, its amount for each `per`."]
    source: Annotated[str, 'Where it is published, or "override".']
    mark: NotRequired[Annotated[str, "How the source was seen."]]
    per: NotRequired[Annotated[float, "Length that a rate counts in.", MM]]
    floor: NotRequired[Annotated[float, "Never less than this.", MM]]
    cap: NotRequired[Annotated[float, "Never more than this.", MM]]
    lower: NotRequired[Annotated[float, "Least deviation, where the sides differ.", MM]]
    upper: NotRequired[Annotated[float, "Most deviation, where the sides differ.", MM]]
    by_diameter: NotRequired[list[DiameterLimitResult]]
    listed_up_to: NotRequired[Annotated[float, "Largest rod diameter listed.", MM]]
    otherwise: NotRequired[
        Annotated[float | None, "Limit of diameters that are not listed.", MM]
    ]


class TolerancesResult(TypedDict):
    """Each limit in force, by its key; a group rule only where the basis has it."""

    basis: Annotated[str, OneOf(TOLERANCE_BASES), "The tolerance basis."]
    guarded: NotRequired[Annotated[bool, "True where uncertainty narrows the limits."]]
    diagonals: NotRequired[LimitResult]
    wall: NotRequired[LimitResult]
    line: NotRequired[LimitResult]
    rod_location: NotRequired[LimitResult]
    re_anchor_beyond: NotRequired[LimitResult]
    projection: NotRequired[LimitResult]
    pad_level: NotRequired[LimitResult]
    shim_up_to: NotRequired[LimitResult]
    strength_ratio: NotRequired[LimitResult]
    plumb: NotRequired[LimitResult]
    notch: NotRequired[LimitResult]
    level_misclosure: NotRequired[LimitResult]
    within_group: NotRequired[LimitResult]
    adjacent_groups: NotRequired[LimitResult]
    accumulated: NotRequired[LimitResult]
    group_to_line: NotRequired[LimitResult]
    group_centre: NotRequired[LimitResult]
    rod_from_group_centre: NotRequired[LimitResult]


# ---- checks and squareness ----------------------------------------------------------


class CheckResult(TypedDict):
    """One check: a length in mm, or a strength in MPa."""

    check: Annotated[str, "The check's key."]
    nominal: Annotated[float | None, "What the plan says."]
    observed: Annotated[float | None, "Mean of the current readings, corrected."]
    deviation: Annotated[float | None, "Observed minus nominal."]
    limit: Annotated[float | None, "Largest deviation allowed, either way."]
    verdict: VerdictWord
    uncertainty: NotRequired[Annotated[float | None, "Standard uncertainty, 1 sigma."]]
    probability: NotRequired[
        Annotated[float | None, "Probability of conformance (JCGM 106)."]
    ]
    close_to_limit: NotRequired[
        Annotated[bool, "True where a second, independent reading is needed."]
    ]
    readings: NotRequired[Annotated[int, AtLeast(0), "Number of current readings."]]
    kind: NotRequired[Annotated[str, "First word of the key."]]
    mark: NotRequired[Annotated[str | None, "Of the position, where it is at one."]]
    rods: NotRequired[list[Annotated[int, AtLeast(1), "A rod's number."]]]
    lower: NotRequired[Annotated[float | None, "Least deviation allowed."]]
    upper: NotRequired[Annotated[float | None, "Most deviation allowed."]]
    spread: NotRequired[Annotated[float | None, "Range of the current readings."]]
    correction: NotRequired[
        Annotated[float | None, "Tape correction added to the mean reading."]
    ]
    reading_ids: NotRequired[Annotated[list[str], "Ids of the current readings."]]
    reason: NotRequired[
        Annotated[str | None, "Why it is unmeasured or must be measured again."]
    ]
    required: NotRequired[Annotated[bool, "True where a release waits for it."]]
    stage: NotRequired[
        Annotated[str, OneOf(StageKind), "First stage it can be measured in."]
    ]


class AdjustedCornerResult(TypedDict):
    """Where the adjustment puts a corner."""

    corner: Annotated[str, "Its name."]
    dx: NotRequired[Annotated[float | None, "As built minus planned, plan axes.", MM]]
    dy: NotRequired[Annotated[float | None, "As built minus planned, plan axes.", MM]]


class AdjustedLengthResult(TypedDict):
    """A wall or diagonal that entered the adjustment."""

    check: Annotated[str, "The check's key."]
    residual: NotRequired[Annotated[float | None, "Adjusted minus observed.", MM]]
    redundancy: NotRequired[
        Annotated[float | None, "Share of an error that shows in the residual."]
    ]
    w: NotRequired[Annotated[float | None, "Residual over its standard deviation."]]


class SuspectReadingResult(TypedDict):
    """A length that the others contradict, |w| > 3.29."""

    check: Annotated[str, "The check's key."]
    readings: NotRequired[Annotated[list[str], "Ids of its readings."]]
    w: NotRequired[Annotated[float | None, "Residual over its standard deviation."]]


class SquarenessResult(TypedDict):
    """The outline, adjusted by least squares from its walls and diagonals."""

    verdict: VerdictWord
    difference: NotRequired[Annotated[float | None, "Of the two diagonals.", MM]]
    limit: NotRequired[Annotated[float | None, "Of the difference.", MM]]
    lean: NotRequired[Annotated[float | None, "Skew of the adjusted outline.", RAD]]
    corners: NotRequired[list[AdjustedCornerResult] | None]
    reference_variance: NotRequired[Annotated[float | None, "A posteriori."]]
    suspect_readings: NotRequired[
        Annotated[list[SuspectReadingResult], "Lengths that the others contradict."]
    ]
    determined: NotRequired[
        Annotated[bool, "True where the lengths read fix the outline."]
    ]
    outcome: NotRequired[Annotated[str, "Outcome of the adjustment."]]
    note: NotRequired[Annotated[str | None, "Reason for the outcome."]]
    degrees_of_freedom: NotRequired[Annotated[int, "Lengths read minus unknowns."]]
    cannot_tell_which: NotRequired[
        Annotated[bool, "True where one length is wrong and it may be any of them."]
    ]
    missing_readings: NotRequired[
        Annotated[list[str], "Checks that would fix the outline."]
    ]
    lengths: NotRequired[list[AdjustedLengthResult]]
    square_up: NotRequired[
        Annotated[list[CornerMoveResult], "Any one of them squares the outline up."]
    ]


# ---- positions ----------------------------------------------------------------------

_RodAxes = TypedDict(  # `in` is a keyword of Python
    "_RodAxes", {"in": NotRequired[Annotated[float | None, "From the steel line.", MM]]}
)


class RodResult(_RodAxes):
    """One rod of a position, as built."""

    rod: Annotated[int, AtLeast(1), "Its number."]
    verdict: VerdictWord
    along: NotRequired[Annotated[float | None, "From the planned reference line.", MM]]
    d_along: NotRequired[Annotated[float | None, "As built minus planned.", MM]]
    d_in: NotRequired[Annotated[float | None, "As built minus planned.", MM]]
    miss: NotRequired[Annotated[float | None, "Distance from plan to as built.", MM]]
    determined: NotRequired[Annotated[bool, "True where its readings fix its place."]]
    planned_along: NotRequired[
        Annotated[float | None, "Planned, from the reference line.", MM]
    ]
    planned_in: NotRequired[
        Annotated[float | None, "Planned, from the steel line.", MM]
    ]


class PlateFitResult(TypedDict):
    """Best placement of the base plate over the rods as built."""

    overrun: Annotated[
        float | None, "Interference; zero or less fits, its amount is the slack.", MM
    ]
    fits: Annotated[bool, "True where the plate fits over the rods somewhere."]
    hole_needed: Annotated[
        float | None, "The one diameter that, for all holes, makes the plate fit.", MM
    ]
    shift_along: NotRequired[Annotated[float | None, "Of the plate, along.", MM]]
    shift_in: NotRequired[Annotated[float | None, "Of the plate, inward.", MM]]
    turn: NotRequired[Annotated[float | None, "Of the plate, counter-clockwise.", RAD]]
    hole_diameter: NotRequired[Annotated[float | None, "As punched.", MM]]


class PositionResult(TypedDict):
    """One position: its rods, the shift of the group, and the fit of the plate."""

    mark: Annotated[str, "Its mark."]
    rods: list[RodResult]
    shift_along: NotRequired[
        Annotated[float | None, "Of the group from plan to as built, along.", MM]
    ]
    shift_in: NotRequired[
        Annotated[float | None, "Of the group from plan to as built, inward.", MM]
    ]
    turn: NotRequired[Annotated[float | None, "Of the group, counter-clockwise.", RAD]]
    plate_fit: NotRequired[PlateFitResult | None]
    note: NotRequired[Annotated[str | None, "Why the group could not be fitted."]]
    line_deviation: NotRequired[
        Annotated[float | None, "Of its reference line, along the wall.", MM]
    ]
    x: NotRequired[Annotated[float | None, "Planned origin, plan axes.", MM]]
    y: NotRequired[Annotated[float | None, "Planned origin, plan axes.", MM]]
    angle: NotRequired[
        Annotated[float | None, "Of its along axis, from the plan's x axis.", RAD]
    ]


class GroupRuleResult(TypedDict):
    """A rule of the basis on groups of rods, where it was applied."""

    rule: Annotated[str, "Its key in the basis."]
    marks: Annotated[list[str], "The positions it compares."]
    verdict: VerdictWord
    source: NotRequired[Annotated[str, "Where it is published."]]
    where: NotRequired[Annotated[str, "The wall, line or position."]]
    deviation: NotRequired[Annotated[float | None, "As built.", MM]]
    limit: NotRequired[Annotated[float | None, "Allowed.", MM]]


# ---- levels -------------------------------------------------------------------------


class PadResult(TypedDict):
    """The bearing surface of a position, and the shims it needs."""

    mark: Annotated[str, "Of its position."]
    height: Annotated[float | None, "From the highest pad, which is 0.", MM]
    verdict: VerdictWord
    shim: NotRequired[Annotated[float | None, "Total thickness.", MM]]
    stack: NotRequired[Annotated[list[str] | None, "Shim plates, thickest first."]]
    residual: NotRequired[Annotated[float | None, "Height left after shimming.", MM]]
    thread_left: NotRequired[
        Annotated[float | None, "Above the nut after shimming, at the worst rod.", MM]
    ]


class ShimCountResult(TypedDict):
    """How many shim plates of one thickness the building needs."""

    thickness: Annotated[str, "As the plan writes it."]
    count: Annotated[int, AtLeast(0), "Number of plates."]


class LevelsResult(TypedDict):
    """Heights of the pads, adjusted over all set-ups."""

    pads: list[PadResult]
    misclosure: NotRequired[Annotated[float | None, "Largest over all loops.", MM]]
    misclosure_limit: NotRequired[Annotated[float | None, "Of the misclosure.", MM]]
    verdict: NotRequired[Annotated[str, OneOf(Verdict), "Of the misclosure."]]
    redundancy: NotRequired[Annotated[int | None, "Readings minus unknowns."]]
    highest: NotRequired[
        Annotated[str | None, "Mark of the pad that heights are counted from."]
    ]
    pack_list: NotRequired[
        Annotated[list[ShimCountResult], "Shims of the building, thickest first."]
    ]
    lower_pad: NotRequired[
        Annotated[
            LoweredPadResult | None, "The high pad whose lowering saves most shims."
        ]
    ]


# ---- the document -------------------------------------------------------------------


class ResultDocument(TypedDict):
    """What was computed for a building.

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
    cautions: NotRequired[
        Annotated[list[str], "Standing cautions, whatever the verdicts."]
    ]
