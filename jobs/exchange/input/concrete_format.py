"""The input format's concrete: in the document, and as entries recorded later."""

from dataclasses import dataclass
from datetime import date, datetime
from typing import Annotated, Any, Literal, NotRequired, Required, TypedDict, get_args

from core.quantities import parse_strength, parse_temperature
from jobs.exchange import vocabulary
from jobs.exchange.input.json_reader import JsonReader
from jobs.exchange.input.members import (
    Constant,
    Day,
    ListOf,
    Moment,
    Name,
    Nested,
    Note,
    PositiveNumber,
    Quantity,
)
from jobs.exchange.input.plausibility import MAX_STRENGTH
from jobs.exchange.schema.typed_schema import Schema

# ---- kinds of values ----------------------------------------------------------------


def _strength(description: str, example: str) -> Quantity:
    return Quantity(parse_strength, description, example, 0.0, MAX_STRENGTH)


@dataclass(frozen=True, slots=True)
class ConcreteTemperature(Quantity):
    """A temperature that concrete can have, in °C."""

    def read(self, reader: JsonReader) -> float:
        before = reader.collector.count
        celsius = reader.read_quantity(self.parse)
        low, high = vocabulary.MIN_CONCRETE_DEGC, vocabulary.MAX_CONCRETE_DEGC
        if reader.collector.count == before and not low <= celsius <= high:
            reader.add_issue(
                f"Concrete is from {low:g} to {high:g} degC; check this value for a "
                "typing error."
            )
        return celsius


def _celsius(description: str, example: str) -> ConcreteTemperature:
    return ConcreteTemperature(parse_temperature, description, example)


class CylinderMembers(TypedDict, total=False):
    """A cylinder of the mixture: its maturity or its equivalent age, and strength."""

    strength: Required[Annotated[float, _strength("Of the cylinder.", "1500 psi")]]
    maturity: Annotated[
        float, PositiveNumber("With a datum [degC h].", vocabulary.MAX_MATURITY_H)
    ]
    age: Annotated[
        float, PositiveNumber("With activation [h].", vocabulary.MAX_MATURITY_H)
    ]


class IntervalMembers(TypedDict):
    """An interval of the temperature history."""

    hours: Annotated[
        float, PositiveNumber("Length of the interval [h].", vocabulary.MAX_ELAPSED_H)
    ]
    temperature: Annotated[float, _celsius("Mean, of the concrete.", "12 degC")]


class ExpectedMembers(TypedDict):
    """Temperatures of the concrete expected from now on."""

    low: Annotated[float, _celsius("Of the concrete.", "5 degC")]
    likely: Annotated[float, _celsius("Of the concrete.", "12 degC")]
    high: Annotated[float, _celsius("Of the concrete.", "18 degC")]


EXPECTED_MEMBERS = tuple(ExpectedMembers.__annotations__)

CURVE = ListOf(
    CylinderMembers,
    "Cylinders of this mixture, of two ages at least.",
    min_items=2,
    max_items=vocabulary.MAX_CYLINDERS,
)


class MaturityMethodMembers(TypedDict, total=False):
    """How maturity is counted: by Nurse and Saul, or as equivalent age."""

    datum: Annotated[float, _celsius("Below which no maturity is gained.", "0 degC")]
    activation: Annotated[
        float,
        PositiveNumber(
            "Activation energy over the gas constant [K].",
            vocabulary.MAX_ACTIVATION_K,
        ),
    ]
    reference: Annotated[
        float, _celsius("At which an hour counts as an hour.", "20 degC")
    ]


class MaturityMembers(MaturityMethodMembers):
    """A forecast of the strength gate, which it never opens.

    By Nurse and Saul with a datum, by equivalent age with activation and reference.
    """

    curve: Annotated[list[JsonReader], CURVE]
    temperatures: Annotated[
        list[JsonReader],
        ListOf(
            IntervalMembers,
            "Of the concrete in place, one interval after another since placing.",
            min_items=1,
            max_items=vocabulary.MAX_INTERVALS,
        ),
    ]
    expected: Annotated[JsonReader, Nested(ExpectedMembers)]


class ConcreteMembers(TypedDict, total=False):
    """The strength the plan asks for, and the data known of the concrete."""

    specified_strength: Annotated[
        float, _strength("The specified strength.", "3000 psi")
    ]
    sufficient_strength: Annotated[
        float,
        _strength("Enough for erection loads, stated by the engineer.", "15.5 MPa"),
    ]
    placed_on: Annotated[date, Day("Day of placing.")]
    standard_cured: Annotated[
        list[JsonReader],
        ListOf(
            _strength("Strength of one test.", "3240 psi"),
            "Standard-cured strength tests in the order made, each the mean of its "
            "cylinders. For acceptance, never for the gate.",
            min_items=1,
            max_items=vocabulary.MAX_STRENGTH_TESTS,
        ),
    ]
    maturity: Annotated[JsonReader, Nested(MaturityMembers)]


# ---- entries recorded after the plan was drawn --------------------------------------

ConcreteEntryKind = Literal[
    "placing", "temperature", "standard_cured", "mixture", "expected"
]
CONCRETE_ENTRY_KINDS: tuple[ConcreteEntryKind, ...] = get_args(ConcreteEntryKind)


class ConcreteEntryMembers(TypedDict, total=False):
    """An entry of concrete data."""

    id: Required[
        Annotated[str, Name("Chosen by the sender, unique.", vocabulary.MAX_ID_LENGTH)]
    ]
    by: Annotated[str, Name("Who took it.", vocabulary.MAX_BY_LENGTH)]
    supersedes: Annotated[
        str, Name("Id of the entry it replaces.", vocabulary.MAX_ID_LENGTH)
    ]
    note: Annotated[str, Note("Anything else.", vocabulary.MAX_NOTE_LENGTH)]


class PlacingMembers(ConcreteEntryMembers):
    """The day the concrete was placed."""

    kind: Annotated[str, Constant("placing")]
    placed_on: Annotated[date, Day("Day of placing.")]


class TemperatureMembers(ConcreteEntryMembers):
    """A temperature of the concrete in place."""

    kind: Annotated[str, Constant("temperature")]
    at: Annotated[datetime, Moment("When it was read.")]
    temperature: Annotated[float, _celsius("Of the concrete in place.", "57.5 degF")]
    hours: NotRequired[
        Annotated[
            float,
            PositiveNumber(
                "Since placing [h]; the first temperature needs it.",
                vocabulary.MAX_ELAPSED_H,
            ),
        ]
    ]


class StandardCuredMembers(ConcreteEntryMembers):
    """A standard-cured strength test."""

    kind: Annotated[str, Constant("standard_cured")]
    on: Annotated[date, Day("Day of the test.")]
    strength: Annotated[
        float, _strength("Of the test, the mean of its cylinders.", "3240 psi")
    ]


class MixtureMembers(ConcreteEntryMembers, MaturityMethodMembers):
    """The cylinders of the mixture."""

    kind: Annotated[str, Constant("mixture")]
    on: Annotated[date, Day("Day of the entry.")]
    curve: Annotated[list[JsonReader], CURVE]


class ExpectedEntryMembers(ConcreteEntryMembers):
    """The temperatures expected from now on."""

    kind: Annotated[str, Constant("expected")]
    on: Annotated[date, Day("Day of the entry.")]
    expected: Annotated[JsonReader, Nested(ExpectedMembers)]


MEMBERS_BY_ENTRY_KIND: dict[ConcreteEntryKind, type[Any]] = {
    "placing": PlacingMembers,
    "temperature": TemperatureMembers,
    "standard_cured": StandardCuredMembers,
    "mixture": MixtureMembers,
    "expected": ExpectedEntryMembers,
}


# ---- rules among members, as far as JSON Schema can say them ------------------------


def _concrete_rules() -> Schema:
    strengths = ("specified_strength", "sufficient_strength")
    return {
        "dependentRequired": {"standard_cured": ["specified_strength"]},
        "dependentSchemas": {
            "maturity": {"anyOf": [{"required": [name]} for name in strengths]}
        },
    }


def _maturity_rules() -> Schema:
    """Return what holds between the two ways to count maturity and their cylinders."""
    return {
        "oneOf": [
            {
                "required": ["datum"],
                "properties": {"activation": False, "reference": False}
                | _cylinders("maturity", "age"),
            },
            {
                "required": ["activation", "reference"],
                "properties": {"datum": False} | _cylinders("age", "maturity"),
            },
        ]
    }


def _cylinders(needed: str, excluded: str) -> Schema:
    items = {"required": [needed], "properties": {excluded: False}}
    return {"curve": {"items": items}}


CONCRETE_RULES: dict[type[Any], Schema] = {
    ConcreteMembers: _concrete_rules(),
    MaturityMembers: _maturity_rules(),
    MixtureMembers: _maturity_rules(),
}
