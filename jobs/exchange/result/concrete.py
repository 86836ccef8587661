"""The `concrete` of the result document: gate, acceptance and forecast."""

from typing import Annotated, NotRequired, Required, TypedDict

from jobs.exchange.result.findings import VerdictWord
from jobs.exchange.schema.typed_schema import HOURS, MPA, AtLeast, Format, OneOf

MATURITY_METHODS = ("nurse_saul", "equivalent_age")


class StrengthTestResult(TypedDict):
    """One standard-cured strength test."""

    test: Annotated[int, AtLeast(1), "Its number in the order made."]
    strength: Annotated[float | None, "Its strength.", MPA]
    low: Annotated[bool, "True where it is below the least a single test may be."]


class StrengthAverageResult(TypedDict):
    """The running average of three consecutive tests."""

    tests: list[Annotated[int, AtLeast(1), "A test's number."]]
    strength: Annotated[float | None, "Their average.", MPA]
    low: Annotated[bool, "True where it is below the specified strength."]


class AcceptanceResult(TypedDict):
    """Acceptance of the concrete as delivered, from standard-cured tests."""

    accepted: Annotated[bool, "True where every rule is met."]
    lowest_allowed: Annotated[float | None, "Of a single test.", MPA]
    tests: Annotated[list[StrengthTestResult], "In the order made."]
    averages: Annotated[list[StrengthAverageResult], "Of three, running."]
    note: Annotated[str, "What it does not show."]
    source: Annotated[str, "The rule, and how it was seen."]
    specified: NotRequired[Annotated[float | None, "The specified strength.", MPA]]


class OpeningDaysResult(TypedDict):
    """Days on which the strength gate is expected to open."""

    likely: Annotated[str | None, Format("date"), "Null where it is not reached."]
    earliest: Annotated[str | None, Format("date"), "Null where it is not reached."]
    latest: Annotated[str | None, Format("date"), "Null where it is not reached."]


class StrengthForecastResult(TypedDict):
    """Forecast of the strength gate from maturity, which never opens it."""

    maturity_now: Annotated[float | None, "Of the concrete in place."]
    maturity_needed: Annotated[float | None, "At which the strength is expected."]
    likely_hours: Annotated[
        float | None, "From then on; 0 where it may be reached already.", HOURS
    ]
    earliest_hours: Annotated[float | None, "From then on.", HOURS]
    latest_hours: Annotated[float | None, "From then on.", HOURS]
    opens_on: Annotated[
        OpeningDaysResult | None, "Days, where the day of placing is known."
    ]
    note: Annotated[str, "What it does not do."]
    sources: Annotated[list[str], "The methods, and how they were seen."]
    method: NotRequired[Annotated[str, OneOf(MATURITY_METHODS), "Maturity method."]]
    unit: NotRequired[Annotated[str, "Of the maturities: degC h or h."]]
    required: NotRequired[Annotated[float | None, "Strength it is made for.", MPA]]
    strength_now: NotRequired[
        Annotated[float | None, "By the curve, within its cylinders.", MPA]
    ]
    elapsed_hours: NotRequired[
        Annotated[float | None, "Since placing, by the temperatures given.", HOURS]
    ]
    confidence: NotRequired[Annotated[float | None, "Of the range, two-sided."]]
    remarks: NotRequired[Annotated[list[str], "What is not known, and why."]]


class ConcreteResult(TypedDict, total=False):
    """The strength gate of erection, judged by field-cured samples."""

    verdict: Required[VerdictWord]
    ratio: Annotated[float | None, "Of the specified strength."]
    strength: Annotated[float | None, "Of the latest samples.", MPA]
    required: Annotated[float | None, "For the gate to open.", MPA]
    route: Annotated[str | None, "Which of the two rules applies."]
    samples: Annotated[list[str], "Keys of the checks it rests on."]
    reason: Annotated[str | None, "Why there is no verdict, or a doubtful one."]
    acceptance: AcceptanceResult | None
    forecast: StrengthForecastResult | None
