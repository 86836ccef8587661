"""The small words the published schemas are written with."""

from typing import Any

Schema = dict[str, Any]


def object_of(properties: Schema, required: tuple[str, ...] = ()) -> Schema:
    """Return an open object with these members described."""
    return {"type": "object", "properties": properties, "required": list(required)}


def ref(name: str) -> Schema:
    """Return a reference to a definition."""
    return {"$ref": f"#/$defs/{name}"}


def ref_or_null(name: str) -> Schema:
    """Return a reference to a definition, or null where there is none."""
    return {"anyOf": [ref(name), {"type": "null"}]}


def list_of(name: str, description: str = "") -> Schema:
    """Return a list of one definition."""
    return _described({"type": "array", "items": ref(name)}, description)


def number(description: str) -> Schema:
    """Return a number, null where it is not known."""
    return {"type": ["number", "null"], "description": description}


def count(description: str, least: int = 0) -> Schema:
    """Return a whole number."""
    return {"type": "integer", "minimum": least, "description": description}


def flag(description: str) -> Schema:
    """Return true or false."""
    return {"type": "boolean", "description": description}


def text(description: str = "") -> Schema:
    """Return a text."""
    return _described({"type": "string"}, description)


def text_or_null(description: str) -> Schema:
    """Return a text, null where there is nothing to say."""
    return {"type": ["string", "null"], "description": description}


def texts(description: str) -> Schema:
    """Return a list of texts."""
    return {"type": "array", "items": {"type": "string"}, "description": description}


def _described(schema: Schema, description: str) -> Schema:
    return {**schema, "description": description} if description else schema
