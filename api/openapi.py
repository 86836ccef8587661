"""The OpenAPI schema: hooks that add the exchange documents and the problems."""

from typing import Any

from django.conf import settings

from api.errors import MEDIA_TYPE, TYPE_PREFIX
from jobs.exchange.published_schemas import (
    building_schema,
    concrete_entry_schema,
    result_schema,
)

Schema = dict[str, Any]

BUILDING_REF: Schema = {"$ref": "#/components/schemas/Building"}
RESULT_REF: Schema = {"$ref": "#/components/schemas/Result"}
READINGS_BODY: Schema = {
    "type": "object",
    "required": ["readings"],
    "additionalProperties": False,
    "properties": {
        "readings": {
            "type": "array",
            "items": {"$ref": "#/components/schemas/Building.reading"},
        },
        "keep_good": {"type": "boolean", "default": False},
    },
}
CONCRETE_BODY: Schema = {
    "type": "object",
    "required": ["entries"],
    "additionalProperties": False,
    "properties": {"entries": {"type": "array", "items": concrete_entry_schema()}},
}
PROBLEM_SCHEMA: Schema = {
    "type": "object",
    "description": "Problem details (RFC 9457).",
    "required": ["type", "title", "status", "detail"],
    "properties": {
        "type": {"type": "string", "examples": [TYPE_PREFIX + "document-refused"]},
        "title": {"type": "string"},
        "status": {"type": "integer"},
        "detail": {"type": "string"},
        "errors": {
            "type": "array",
            "items": {
                "type": "object",
                "required": ["message"],
                "properties": {
                    "pointer": {
                        "type": "string",
                        "description": "Place in the body, a JSON Pointer (RFC 6901).",
                    },
                    "parameter": {
                        "type": "string",
                        "description": "Name of the query parameter.",
                    },
                    "message": {"type": "string"},
                },
            },
        },
        "missing": {
            "type": "array",
            "description": "Requirements of a release that are missing.",
            "items": {
                "type": "object",
                "properties": {
                    "what": {"type": "string"},
                    "holds": {"type": "boolean"},
                    "keys": {"type": "array", "items": {"type": "string"}},
                },
            },
        },
    },
}
PROBLEM_EXAMPLE: Schema = {
    "type": TYPE_PREFIX + "document-refused",
    "title": "Invalid document",
    "status": 422,
    "detail": "The document has 1 error.",
    "errors": [
        {
            "pointer": "/positions/3/detail",
            "message": "There is no detail Q; the details are P.",
        }
    ],
}


def exclude_fallback_views(endpoints: Any, **_: Any) -> Any:
    """Exclude the view that answers unknown addresses."""
    return [each for each in endpoints if not getattr(each[3].cls, "fallback", False)]


def add_document_schemas(result: Schema, **_: Any) -> Schema:
    """Add the schemas of the exchange documents to the components."""
    components = result.setdefault("components", {}).setdefault("schemas", {})
    for name, schema in (("Building", building_schema()), ("Result", result_schema())):
        parts = schema.pop("$defs")
        for part in ("$schema", "$id"):
            schema.pop(part)
        components[name] = _rewrite_refs(schema, name)
        for key, value in parts.items():
            components[f"{name}.{key}"] = _rewrite_refs(value, name)
    result["components"]["schemas"] = dict(sorted(components.items()))
    return result


def _rewrite_refs(schema: Any, name: str) -> Any:
    """Rewrite references into a document's own definitions to the components."""
    if isinstance(schema, list):
        return [_rewrite_refs(each, name) for each in schema]
    if not isinstance(schema, dict):
        return schema
    return {
        key: value.replace("#/$defs/", f"#/components/schemas/{name}.")
        if key == "$ref"
        else _rewrite_refs(value, name)
        for key, value in schema.items()
    }


def add_problem_responses(result: Schema, **_: Any) -> Schema:
    """Add the problem response to every operation, and the description."""
    result["components"]["schemas"]["Problem"] = PROBLEM_SCHEMA
    result["components"]["responses"] = {
        "Problem": {
            "description": "The error, as problem details.",
            "content": {
                MEDIA_TYPE: {
                    "schema": {"$ref": "#/components/schemas/Problem"},
                    "example": PROBLEM_EXAMPLE,
                }
            },
        }
    }
    for path in result["paths"].values():
        for operation in path.values():
            if isinstance(operation, dict) and "responses" in operation:
                refused = {"$ref": "#/components/responses/Problem"}
                operation["responses"]["default"] = refused
    result["info"]["description"] = DESCRIPTION.format(limit=settings.API_MAX_BODY)
    return result


DESCRIPTION = """\
Readings in, verdicts and findings out. Screening arithmetic, not design: the engineer
of record, the manufacturer's drawings and local codes govern.

Authenticate with `Authorization: Token …` (create one under *people*) or with a browser
session. Lengths are in millimetres, angles in radians, strengths in megapascals; times
have a time zone. What you may not see is not found (404); what you may not do is
refused (403). A body is JSON in UTF-8 of at most {limit:,} bytes, without duplicate
keys; a photograph is multipart/form-data. Every error is a problem document with
pointers and messages. What is sent twice is stored once: after a 503, send the same
request again.
"""
