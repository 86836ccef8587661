"""The concrete of the document in, as part of its JSON Schema."""

from jobs.exchange import concrete
from jobs.exchange import schema_patterns as patterns
from jobs.exchange.given_parts import object_of, plain, quantity
from jobs.exchange.schema_parts import Schema


def concrete_given() -> Schema:
    """Return the schema of `concrete`."""
    schema = object_of(
        {
            "specified_strength": quantity("The specified strength.", "3000 psi"),
            "sufficient_strength": quantity(
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
                "maxItems": concrete.MOST_TESTS,
                "items": quantity("Strength of one test.", "3240 psi"),
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
    celsius = quantity("Of the concrete.", "12 degC")
    schema = object_of(
        {
            "datum": quantity("Below which no maturity is gained.", "0 degC"),
            "activation": plain(
                "Activation energy over the gas constant [K].",
                concrete.MOST_ACTIVATION,
            ),
            "reference": quantity("At which an hour is an hour.", "20 degC"),
            "curve": _curve(),
            "temperatures": _temperatures(celsius),
            "expected": object_of(
                dict.fromkeys(concrete.EXPECTED, celsius),
                concrete.EXPECTED,
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
    cylinder = object_of(
        {
            "maturity": plain("With a datum [degC h].", concrete.MOST_MATURITY),
            "age": plain("With activation [h].", concrete.MOST_MATURITY),
            "strength": quantity("Of the cylinder.", "1500 psi"),
        },
        ("strength",),
    )
    return {
        "type": "array",
        "minItems": 2,
        "maxItems": concrete.MOST_CYLINDERS,
        "items": cylinder,
        "description": "Cylinders of this mixture, of two ages at least.",
    }


def _temperatures(celsius: Schema) -> Schema:
    hours = plain("Hours, counted from placing.", concrete.MOST_HOURS)
    return {
        "type": "array",
        "minItems": 1,
        "maxItems": concrete.MOST_INTERVALS,
        "items": object_of(
            {"hours": hours, "temperature": celsius}, ("hours", "temperature")
        ),
        "description": "Of the concrete in place, one interval after another.",
    }


def _cylinders(name: str) -> Schema:
    other = {"maturity": "age", "age": "maturity"}[name]
    return {"curve": {"items": {"required": [name], "properties": {other: False}}}}
