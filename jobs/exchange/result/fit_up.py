"""The fit-up of the result document: does the steel go together as measured."""

from typing import Annotated, NotRequired, TypedDict

from core.vocabulary import FitUpConclusion
from jobs.exchange.result.findings import OpenedPlateResult
from jobs.exchange.schema.typed_schema import MM, RAD, AtLeast, OneOf

LEFT_OUT_REASONS = (
    "no_plate",
    "line_not_measured",
    "rod_not_determined",
    "contradicted",
)


ConclusionWord = Annotated[
    str,
    OneOf(FitUpConclusion),
    "It goes together, or does not, where the readings as they are and the probability "
    "say so both.",
]


class GridMoveResult(TypedDict):
    """The least movement of the whole steel at which it goes together best."""

    x: Annotated[float, "Plan axes.", MM]
    y: Annotated[float, "Plan axes.", MM]
    turn: Annotated[float, "About the middle of the positions, counter-clockwise.", RAD]
    least: Annotated[
        float,
        AtLeast(0),
        "Size of the movement, with that of the furthest position by the turn.",
        MM,
    ]


class FitUpShareResult(TypedDict):
    """A position that decides the misfit."""

    mark: Annotated[str, "Its mark."]
    share: Annotated[float, AtLeast(0), "Its share of the misfit."]


class FitUpElementResult(TypedDict):
    """One bay or frame by itself."""

    marks: Annotated[list[str], "Of its two positions."]
    misfit: Annotated[float, "Radius that its holes lack; less than zero is slack.", MM]
    missing_length: Annotated[
        float | None,
        "How much more its length would have to give with the holes as they are; null "
        "where no length would do.",
        MM,
    ]


class FitUpPlateResult(TypedDict):
    """The place of a plate when all goes together, from its planned place."""

    mark: Annotated[str, "Of its position."]
    shift_along: Annotated[float, "Along the position's axis.", MM]
    shift_in: Annotated[float, "Along the position's axis.", MM]
    turn: Annotated[float, "Counter-clockwise.", RAD]


class FitUpLeftOutResult(TypedDict):
    """A position that takes no part."""

    mark: Annotated[str, "Its mark."]
    reason: Annotated[str, OneOf(LEFT_OUT_REASONS), "Why not."]


class FitUpResult(TypedDict):
    """Can every column stand on its lines and every bay and frame keep its length?

    Each plate may shift and turn in its holes within the limits of line and column
    turn, the whole steel within that of the notch. Tolerances of the members
    themselves are not in it.
    """

    misfit: Annotated[
        float,
        "Radius that the worst holes lack as measured; every hole larger by twice as "
        "much would do. Less than zero is slack.",
        MM,
    ]
    slack: Annotated[float, AtLeast(0), "What the worst hole has to spare.", MM]
    goes_together_as_read: Annotated[bool, "True where the misfit is not above zero."]
    grid: GridMoveResult
    probability: Annotated[
        float | None,
        "That it goes together, with the readings' uncertainty; null where it has not "
        "been computed yet. It alone never clears a building.",
    ]
    probability_error: NotRequired[
        Annotated[
            float, AtLeast(0), "Standard error of the probability, which is simulated."
        ]
    ]
    probability_bound: Annotated[
        float | None,
        "The probability is not above it. Without a probability: by the rods as read "
        "and a crew's usual spreads; null where bays or spans were read.",
    ]
    conclusion: Annotated[
        ConclusionWord | None, "Null where the probability has not been computed yet."
    ]
    worst: Annotated[
        list[FitUpShareResult], "Positions that decide it, first the most."
    ]
    bays: Annotated[
        list[FitUpElementResult], "The worst bays of plates that go on alone."
    ]
    frames: Annotated[list[FitUpElementResult], "The worst frames of such plates."]
    open: Annotated[list[OpenedPlateResult], "Few plates whose opening would do."]
    plates: Annotated[
        list[FitUpPlateResult], "Where each plate that goes on alone may stand then."
    ]
    not_included: Annotated[list[FitUpLeftOutResult], "Positions left out, and why."]


class FitUpProbabilityResult(TypedDict):
    """The members of `fit_up` that are computed apart from the rest."""

    probability: Annotated[float, "That it goes together."]
    probability_error: Annotated[
        float, AtLeast(0), "Standard error of the probability, which is simulated."
    ]
    probability_bound: Annotated[float, "The probability is not above it."]
    conclusion: ConclusionWord
    worst: Annotated[
        list[FitUpShareResult], "Positions that decide the cases that fail."
    ]
