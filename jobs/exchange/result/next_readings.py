"""The next readings of the result document: what to read, and what it would settle."""

from typing import Annotated, TypedDict

from core.vocabulary import NextReadingKind
from jobs.exchange.schema.typed_schema import OneOf

ReadingKindWord = Annotated[str, OneOf(NextReadingKind), "How to take the reading."]
InstrumentName = Annotated[
    str | None, "The other tape, where the plan has one to take; else null."
]
ChanceBefore = Annotated[float, "Chance that the conclusion is wrong as it is."]
ChanceAfter = Annotated[float, "The same after the reading, whatever it will be."]


class SecondReadingResult(TypedDict):
    """The reading that would settle the verdict of a check best."""

    kind: ReadingKindWord
    instrument: InstrumentName
    before: ChanceBefore
    after: ChanceAfter


class NextReadingResult(TypedDict):
    """A reading to take next, and the conclusion that gains most from it."""

    check: Annotated[
        str,
        'Key of the check to read. A "direct" one, a bay or a span, is not among the '
        "result's checks until it is read.",
    ]
    kind: ReadingKindWord
    instrument: InstrumentName
    conclusion: Annotated[
        str, 'Key of a check, "squareness", or "fit_up": what gains most.'
    ]
    before: ChanceBefore
    after: ChanceAfter
    gain: Annotated[
        float, "Sum over all conclusions of what it takes off these chances."
    ]
    reason: Annotated[str, "Why it is worth taking, in one sentence."]


class FindingSecondReadingResult(SecondReadingResult):
    """The second reading that would settle a finding best."""

    check: Annotated[str, "Key of the check to read."]
