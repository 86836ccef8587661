"""The concrete of the document in, as part of its JSON Schema."""

from jobs.exchange.input import concrete
from jobs.exchange.schema import input_patterns as patterns
from jobs.exchange.schema.input_parts import (
    closed_object,
    positive_number,
    quantity_schema,
)
from jobs.exchange.schema.typed_schema import Schema


def input_concrete_schema() -> Schema:
    """Return the schema of `concrete`."""
    schema = closed_object(
        {
            "specified_strength": quantity_schema(
                "The specified strength.", "3000 psi"
            ),
            "sufficient_strength": quantity_schema(
                "Enough to carry the loads of erection, as the engineer states.",
                "15.5 MPa",
            ),
            "placed_on": {
                "type": "string",
                "format": "date",
                "pattern": patterns.DATE,
            },
            "standard_cured": {
                "type": "array",
                "minItems": 1,
                "maxItems": concrete.MAX_STRENGTH_TESTS,
                "items": quantity_schema("Strength of one test.", "3240 psi"),
                "description": "Standard-cured strength tests in the order made, each "
                "the mean of its cylinders. For acceptance, never for the gate.",
            },
            "maturity": _maturity(),
        }
    )
    given = [{"required": [f"{name}_strength"]} for name in ("specified", "sufficient")]
    schema["dependentRequired"] = {"standard_cured": ["specified_strength"]}
    schema["dependentSchemas"] = {"maturity": {"anyOf": given}}
    return schema


def _maturity() -> Schema:
    celsius = quantity_schema("Of the concrete.", "12 degC")
    schema = closed_object(
        {
            "datum": quantity_schema("Below which no maturity is gained.", "0 degC"),
            "activation": positive_number(
                "Activation energy over the gas constant [K].",
                concrete.MAX_ACTIVATION_K,
            ),
            "reference": quantity_schema("At which an hour is an hour.", "20 degC"),
            "curve": _curve(),
            "temperatures": _temperatures(celsius),
            "expected": closed_object(
                dict.fromkeys(concrete.EXPECTED_MEMBERS, celsius),
                concrete.EXPECTED_MEMBERS,
                "Of the concrete from now on.",
            ),
        },
        ("curve", "temperatures", "expected"),
        "For a forecast of the strength gate, which it never opens: by Nurse and Saul "
        "with a datum, by equivalent age with activation and reference.",
    )
    schema["oneOf"] = [
        {
            "required": ["datum"],
            "properties": {"activation": False, "reference": False}
            | _cylinders("maturity"),
        },
        {
            "required": ["activation", "reference"],
            "properties": {"datum": False} | _cylinders("age"),
        },
    ]
    return schema


def _curve() -> Schema:
    cylinder = closed_object(
        {
            "maturity": positive_number(
                "With a datum [degC h].", concrete.MAX_MATURITY_H
            ),
            "age": positive_number("With activation [h].", concrete.MAX_MATURITY_H),
            "strength": quantity_schema("Of the cylinder.", "1500 psi"),
        },
        ("strength",),
    )
    return {
        "type": "array",
        "minItems": 2,
        "maxItems": concrete.MAX_CYLINDERS,
        "items": cylinder,
        "description": "Cylinders of this mixture, of two ages at least.",
    }


def _temperatures(celsius: Schema) -> Schema:
    hours = positive_number("Hours, counted from placing.", concrete.MAX_ELAPSED_H)
    return {
        "type": "array",
        "minItems": 1,
        "maxItems": concrete.MAX_INTERVALS,
        "items": closed_object(
            {"hours": hours, "temperature": celsius}, ("hours", "temperature")
        ),
        "description": "Of the concrete in place, one interval after another.",
    }


def _cylinders(name: str) -> Schema:
    other = {"maturity": "age", "age": "maturity"}[name]
    return {"curve": {"items": {"required": [name], "properties": {other: False}}}}
