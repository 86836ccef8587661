"""The levels of a result document: pads, shims and misclosure."""

from typing import Annotated, Required, TypedDict

from core.vocabulary import Verdict
from jobs.exchange.result.findings import (
    LoweredPadResult,
    VerdictWord,
)
from jobs.exchange.schema.typed_schema import MM, AtLeast, OneOf


class PadResult(TypedDict, total=False):
    """The bearing surface of a position, and the shims it needs."""

    mark: Required[Annotated[str, "Of its position."]]
    height: Required[
        Annotated[
            float | None,
            "From the highest pad, which is 0, as far as the level can tell it: the "
            "median of what the readings leave possible.",
            MM,
        ]
    ]
    as_read: Annotated[
        float | None,
        "Height as read, from where the highest pad is expected: above it where "
        "positive.",
        MM,
    ]
    verdict: Required[VerdictWord]
    shim: Annotated[float | None, "Total thickness.", MM]
    stack: Annotated[list[str] | None, "Shim plates, thickest first."]
    residual: Annotated[float | None, "Height left after shimming.", MM]
    thread_left: Annotated[
        float | None, "Above the nut after shimming, at the worst rod.", MM
    ]


class ShimCountResult(TypedDict):
    """How many shim plates of one thickness the building needs."""

    thickness: Annotated[str, "As the plan writes it."]
    count: Annotated[int, AtLeast(0), "Number of plates."]


class LevelsResult(TypedDict, total=False):
    """Heights of the pads, adjusted over all set-ups."""

    pads: Required[list[PadResult]]
    misclosure: Annotated[float | None, "Largest over all loops.", MM]
    misclosure_limit: Annotated[float | None, "Of the misclosure.", MM]
    verdict: Annotated[str, OneOf(Verdict), "Of the misclosure."]
    redundancy: Annotated[int | None, "Readings minus unknowns."]
    highest: Annotated[str | None, "Mark of the pad that reads highest."]
    datum_uncertainty: Annotated[
        float | None, "Standard uncertainty of the height of the highest pad.", MM
    ]
    read: Annotated[int, AtLeast(0), "Pads with a height."]
    alike: Annotated[
        int, AtLeast(0), "Pads that cannot be told from the highest by their readings."
    ]
    tells_apart: Annotated[
        float | None,
        "Difference of two pads that the readings tell apart, at twice the "
        "uncertainty.",
        MM,
    ]
    better_level_needed: Annotated[
        bool, "True where that is more than the limit of a pad."
    ]
    pack_list: Annotated[
        list[ShimCountResult], "Shims of the building, thickest first."
    ]
    lower_pad: Annotated[
        LoweredPadResult | None, "The high pad whose lowering saves most shims."
    ]
