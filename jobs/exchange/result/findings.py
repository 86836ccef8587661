"""The findings of the result document: causes, remedies and moves of the steel."""

from typing import Annotated, NotRequired, Required, TypedDict

from core.vocabulary import Approval, RemedyKind, Verdict
from jobs.exchange.result.next_readings import FindingSecondReadingResult
from jobs.exchange.schema.typed_schema import MM, MPA, NEWTON, RAD, AtLeast, OneOf

VerdictWord = Annotated[
    str,
    OneOf(Verdict),
    "A deviation equal to its limit is within; what was not measured is unmeasured, "
    "never within.",
]
ApprovalWord = Annotated[
    str, OneOf(Approval), "Who must agree: the field, or the engineer of record."
]

COMPUTED_REMEDIES = tuple(kind for kind in RemedyKind if kind is not RemedyKind.ACCEPT)
"""Remedies that evaluation proposes; only people accept a finding as it is."""

RemedyWord = Annotated[str, OneOf(COMPUTED_REMEDIES), "What is proposed."]
SLOT_AXES = ("along", "in")
SCREENING_OUTCOMES = ("pass", "fail", "unknown")
ScreeningWord = Annotated[
    str, OneOf(SCREENING_OUTCOMES), "Unknown where a value it needs is not known."
]


class CornerMoveResult(TypedDict):
    """A move of one corner that squares the outline up."""

    corner: Annotated[str, "Corner to move."]
    wall: Annotated[str, "Wall along which it moves."]
    move: Annotated[float | None, "Towards the wall's second corner.", MM]
    dx: NotRequired[Annotated[float | None, "The same on plan axes.", MM]]
    dy: NotRequired[Annotated[float | None, "The same on plan axes.", MM]]


class LoweredPadResult(TypedDict):
    """The one high pad whose lowering saves most shims."""

    mark: Annotated[str, "Of the pad to lower."]
    lower_by: Annotated[float | None, "Down to the next highest pad.", MM]
    shims_saved: NotRequired[Annotated[int, AtLeast(0), "Pads that then need no shim."]]


class SlotResult(TypedDict):
    """A hole opened to a slot."""

    rod: Annotated[int, AtLeast(1), "Its number."]
    extension: Annotated[
        float | None, "Exact need of length beyond the hole, on the rod's side.", MM
    ]
    direction: Annotated[
        float | None, "From the hole towards its rod, counter-clockwise.", RAD
    ]
    axis: NotRequired[
        Annotated[str, OneOf(SLOT_AXES), "The plate's axis that the slot is along."]
    ]
    exact_length: NotRequired[
        Annotated[float | None, "Of the whole slot, without clearance.", MM]
    ]
    length: NotRequired[
        Annotated[
            float | None,
            "Of the whole slot as ordered: with installation clearance at both ends, "
            "rounded up to 1/16 in or 1 mm.",
            MM,
        ]
    ]
    width: NotRequired[Annotated[float | None, "The hole's diameter.", MM]]
    ahead: NotRequired[
        Annotated[float | None, "As ordered, beyond the hole on the rod's side.", MM]
    ]
    behind: NotRequired[
        Annotated[float | None, "As ordered, beyond the hole on the other side.", MM]
    ]


class OpenedPlateResult(TypedDict):
    """A plate to open."""

    mark: Annotated[str, "Of its position."]
    hole: Annotated[float | None, "Diameter, rounded up to a shop's sizes.", MM]
    exact: Annotated[float | None, "The diameter it needs.", MM]


class PlateHoleResult(TypedDict):
    """A hole of a new plate, from the plate's first corner: left, towards the wall."""

    rod: Annotated[int, AtLeast(1), "Its number."]
    x: Annotated[float | None, "Along, as the shop lays it out.", MM]
    y: Annotated[float | None, "Inward, as the shop lays it out.", MM]
    exact_x: Annotated[float | None, "Along, exact.", MM]
    exact_y: Annotated[float | None, "Inward, exact.", MM]
    moved: Annotated[float | None, "From the planned hole to the rod as built.", MM]
    clearance_left: Annotated[
        float | None, "Round the rod, after rounding, column at its planned place.", MM
    ]
    edge_left: Annotated[float | None, "To the nearest edge.", MM]


class PlateGrowthResult(TypedDict):
    """An edge of a new plate that moved outward."""

    side: Annotated[str, "left, near, right or far: seen from above, inward is up."]
    by: Annotated[float | None, "In whole shop increments.", MM]


class NewPlateResult(TypedDict):
    """A base plate punched to the rods as built, column at its planned place."""

    width: Annotated[float | None, "Along.", MM]
    depth: Annotated[float | None, "Inward.", MM]
    thickness: Annotated[float | None, "As the detail's; null where it gives none.", MM]
    size_known: Annotated[
        bool, "False where the detail has no edge distance: the least plate then."
    ]
    corner_along: Annotated[
        float | None,
        "First corner (left, towards the wall), from the reference line.",
        MM,
    ]
    corner_in: Annotated[float | None, "The same corner, from the steel line.", MM]
    growth: Annotated[list[PlateGrowthResult], "Edges that moved outward."]
    increment: Annotated[float | None, "That the shop lays out to.", MM]
    clearance_left: Annotated[float | None, "The least of all holes.", MM]
    spacing: Annotated[float | None, "Least distance between hole centres.", MM]
    spacing_needed: Annotated[float | None, "Of the same pair, AISC 360 J3.3.", MM]
    eccentricity_along: Annotated[
        float | None, "Mean of the rods from the mean of the planned ones.", MM
    ]
    eccentricity_in: Annotated[float | None, "The same, inward.", MM]
    holes: Annotated[list[PlateHoleResult], "In the order of the rods."]


class WasherResult(TypedDict):
    """The plate washer that covers an opened hole."""

    size: Annotated[float | None, "Its side or diameter.", MM]
    thickness: Annotated[float | None, "The thickest that any rod asks for.", MM]
    source: Annotated[str, "Where it is published."]


class ScreeningConditionResult(TypedDict):
    """One condition of the screen of a replacement rod."""

    name: Annotated[str, "What is screened."]
    value: Annotated[float | None, "As it is; null where it is not known."]
    unit: Annotated[str, "mm, rod diameters (d), days, °C or MPa."]
    outcome: ScreeningWord
    source: Annotated[str, "The clause it comes from."]
    least: NotRequired[Annotated[float | None, "Least allowed, in the same unit."]]
    most: NotRequired[Annotated[float | None, "Most allowed, in the same unit."]]


class BasicStrengthsResult(TypedDict, total=False):
    """Basic tension strengths of one replacement rod, without reduction."""

    breakout_n: Annotated[float | None, "ACI 318-19 17.6.2.2.1.", NEWTON]
    edge_factor: Annotated[float | None, "ACI 318-19 17.6.2.4."]
    breakout_at_edge_n: Annotated[
        float | None, "Breakout times the edge factor.", NEWTON
    ]
    bond_n: Annotated[float | None, "ACI 318-19 17.6.5.2.1.", NEWTON]
    bond_edge_mm: Annotated[float | None, "Nearer to an edge the bond is less.", MM]
    steel_n: Annotated[
        float | None, "ACI 318-19 17.6.1.2, if the grade is known.", NEWTON
    ]
    least: Annotated[str | None, "The least of the three, where all are known."]


class ScreenedRodResult(TypedDict, total=False):
    """A rod to replace, with the screen of its replacement."""

    rod: Required[Annotated[int, AtLeast(1), "Its number."]]
    miss: Required[
        Annotated[
            float | None, "From plan to as built: from the new rod to the old stub.", MM
        ]
    ]
    miss_text: Annotated[str, "The same as a person writes it."]
    diameter: Annotated[float | None, "Of the rod.", MM]
    embedment: Annotated[float | None, "Assumed, for the basic strengths.", MM]
    outcome: ScreeningWord
    conditions: list[ScreeningConditionResult]
    strengths: BasicStrengthsResult


class RuledOutResult(TypedDict):
    """A remedy that will not do, and why."""

    remedy: RemedyWord
    reason: Annotated[str, "Why it will not do."]


class LikelyCauseResult(TypedDict):
    """A mistake that would explain the readings. A hint: it changes no number."""

    cause: Annotated[str, "The mistake, as one word."]
    explanation: Annotated[str, "The mistake, as a sentence."]
    checks: NotRequired[Annotated[list[str], "Checks it explains."]]
    readings: NotRequired[Annotated[list[str], "Ids of the readings it explains."]]


class PlanDoubtResult(TypedDict):
    """One doubt about the plan itself."""

    kind: Annotated[
        str, "hole, edge, threads, rods_overlap, marks or positions_overlap."
    ]
    place: Annotated[str, "The rods, marks or positions it concerns; may be empty."]
    amount: Annotated[float, "Length that is missing; 0 for marks.", MM]


class RemedyResult(TypedDict, total=False):
    """One remedy with its arithmetic; no remedy has all of these members."""

    remedy: Required[RemedyWord]
    approval: Required[ApprovalWord]
    reason: Required[Annotated[str, "Why it is proposed."]]
    cautions: Required[Annotated[list[str], "Shown with it."]]
    why_second: Annotated[str, "Why an alternative is not the proposal."]
    checks: Annotated[list[str], "Checks to measure again."]
    follows: Annotated[RemedyWord, "Follows if an independent repeat agrees."]
    unconfirmed: Annotated[
        list[str], "Checks it rests on that wait for an independent repeat."
    ]
    plan_doubts: Annotated[
        list[PlanDoubtResult], "What the plan has that no measurement makes right."
    ]
    scope: Annotated[str, 'What a shift moves: "steel", or the marks of a frame line.']
    shift_along: Annotated[float | None, "Of the plate, along.", MM]
    shift_in: Annotated[float | None, "Of the plate, inward.", MM]
    shift_x: Annotated[float | None, "Of the steel, plan axes.", MM]
    shift_y: Annotated[float | None, "Of the steel, plan axes.", MM]
    turn: Annotated[float | None, "Of the plate or the steel, counter-clockwise.", RAD]
    hole_diameter: Annotated[float | None, "Exact need of all holes, enlarged.", MM]
    plate: Annotated[NewPlateResult, "The new plate."]
    ordered_diameter: Annotated[
        float | None,
        "Of all holes as ordered: rounded up to 1/16 in or 1 mm; of a new plate as the "
        "detail's.",
        MM,
    ]
    slots: Annotated[list[SlotResult], "Only the holes that offend."]
    open: Annotated[list[OpenedPlateResult], "Plates to open, of several positions."]
    edge_left: Annotated[float | None, "Least edge distance after opening.", MM]
    edge_needed: Annotated[float | None, "AISC 360 Table J3.4, for the same hole.", MM]
    washer: WasherResult | None
    heading: Annotated[str, "Limits of the screen of replacement rods."]
    assumptions: Annotated[list[str], "Assumptions of the screen."]
    rods: Annotated[
        list[ScreenedRodResult | int],
        "Rods to replace with their screen, or rod numbers.",
    ]
    shim: Annotated[float | None, "Total thickness.", MM]
    stack: Annotated[list[str], "Shim plates, thickest first."]
    residual: Annotated[float | None, "Height left after shimming.", MM]
    thread_left: Annotated[
        float | None, "Above the nut; less than zero is missing.", MM
    ]
    engaged: Annotated[float | None, "Share of the nut engaged."]
    shortfall: Annotated[float | None, "Of the pad's height.", MM]
    deviation: Annotated[float | None, "Of what the finding is about."]
    limit: Annotated[float | None, "Of that deviation."]
    moves: Annotated[list[CornerMoveResult], "Any one of them squares the outline up."]
    difference: Annotated[float | None, "Of the diagonals.", MM]
    strength: Annotated[float | None, "Reached so far.", MPA]
    required_strength: Annotated[float | None, "Of the gate.", MPA]
    ratio: Annotated[float | None, "Reached, of the specified strength."]
    required: Annotated[float | None, "Ratio the gate asks for."]
    samples: Annotated[list[str], "The samples it rests on."]
    move: Annotated[float | None, "At the top of the column that plumbs it.", MM]
    axis: Annotated[str, 'Of the move: "along" or "in".']
    height: Annotated[float | None, "Over which plumb was read.", MM]
    mark: Annotated[str, "Of the pad to lower."]
    lower_by: Annotated[float | None, "Down to the next pad.", MM]
    shims_saved: Annotated[int, AtLeast(0), "Pads that need no shim then."]


class FindingResult(TypedDict):
    """Something outside tolerance, or doubtful, that needs a decision."""

    finding: Annotated[str, "Its topic, such as level:S1."]
    checks: Annotated[list[str], "Keys of its checks."]
    approval: ApprovalWord
    likely_cause: Annotated[
        LikelyCauseResult | None, "A hint; it never changes a number."
    ]
    remedies: Annotated[
        list[RemedyResult], "The proposal first, then the alternatives."
    ]
    ruled_out: NotRequired[
        Annotated[list[RuledOutResult], "What will not do, and why."]
    ]
    consequences: NotRequired[
        Annotated[
            list[str],
            "Topics that are no findings of their own, as they vanish with this one.",
        ]
    ]
    worst_check: NotRequired[
        Annotated[str | None, "Its check that is least likely within its limit."]
    ]
    probability: NotRequired[
        Annotated[float | None, "Probability of conformance of that check."]
    ]
    second_reading: NotRequired[
        Annotated[
            FindingSecondReadingResult | None,
            "The second reading that would settle it best, where one is worth taking.",
        ]
    ]


class ShiftedPositionResult(TypedDict):
    """Effect of a move of the steel on one position."""

    mark: Annotated[str, "Its mark."]
    rework_before: Annotated[bool, "True where the plate does not fit as it is."]
    rework_after: Annotated[bool, "True where it does not fit after the move."]
    miss_before: NotRequired[
        Annotated[float | None, "Worst rod's distance minus its allowance.", MM]
    ]
    miss_after: NotRequired[Annotated[float | None, "The same after the move.", MM]]


class SteelShiftResult(TypedDict):
    """A move of all the steel, or of one frame line."""

    scope: Annotated[str, '"steel", or the marks of a frame line.']
    shift_x: Annotated[float | None, "Plan axes, after the turn.", MM]
    shift_y: Annotated[float | None, "Plan axes, after the turn.", MM]
    turn: Annotated[float | None, "Counter-clockwise about the given point.", RAD]
    rework_before: Annotated[int, AtLeast(0), "Positions to rework as it is."]
    rework_after: Annotated[int, AtLeast(0), "Positions to rework after the move."]
    about_x: NotRequired[Annotated[float | None, "Centre of the turn.", MM]]
    about_y: NotRequired[Annotated[float | None, "Centre of the turn.", MM]]
    proven: NotRequired[
        Annotated[bool, "True where no move leaves fewer positions to rework."]
    ]
    positions: NotRequired[
        Annotated[list[ShiftedPositionResult], "Effect on every position."]
    ]
