"""What the schema of the document in is written with: what somebody types."""

from jobs.exchange import vocabulary as words
from jobs.exchange.schema import input_patterns as patterns
from jobs.exchange.schema.typed_schema import Schema


def ref(name: str) -> Schema:
    """Return a reference to a definition."""
    return {"$ref": f"#/$defs/{name}"}


def closed_object(
    properties: Schema, required: tuple[str, ...] = (), description: str = ""
) -> Schema:
    """Return an object with these members and no others."""
    schema: Schema = {"type": "object"}
    if description:
        schema["description"] = description
    schema |= {"properties": properties, "additionalProperties": False}
    if required:
        schema["required"] = list(required)
    return schema


def object_by_name(definition: str, description: str) -> Schema:
    """Return an object whose members are named by whoever writes the document."""
    return {
        "type": "object",
        "description": description,
        "propertyNames": name_schema("Its name."),
        "additionalProperties": ref(definition),
    }


def length_schema(description: str) -> Schema:
    """Return a length as it is typed."""
    return {"$ref": "#/$defs/length", "description": description}


def name_schema(description: str, longest: int = words.MAX_NAME_LENGTH) -> Schema:
    """Return a name: a text with something in it."""
    return {
        "type": "string",
        "minLength": 1,
        "maxLength": longest,
        "pattern": patterns.NAME,
        "description": description,
    }


def quantity_schema(description: str, example: str) -> Schema:
    """Return a number with its unit, as text."""
    return {
        "type": "string",
        "maxLength": 60,
        "pattern": patterns.QUANTITY,
        "description": f"{description} A number and its unit.",
        "examples": [example],
    }


def positive_number(description: str, most: float) -> Schema:
    """Return a number above zero that has no unit of its own."""
    return {
        "type": "number",
        "exclusiveMinimum": 0,
        "maximum": most,
        "description": description,
    }
