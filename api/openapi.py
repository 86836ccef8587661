"""The interface's description: the exchange documents and the problems in it."""

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
                        "description": "Parameter of the address.",
                    },
                    "message": {"type": "string"},
                },
            },
        },
        "missing": {
            "type": "array",
            "description": "What a release waits for.",
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
    "title": "The document was refused",
    "status": 422,
    "detail": "It does not fit in 1 place.",
    "errors": [
        {
            "pointer": "/positions/3/detail",
            "message": "There is no detail Q; the details are P.",
        }
    ],
}


def exclude_fallback_views(endpoints: Any, **_: Any) -> Any:
    """Leave out what is not meant to be asked: the answer for unknown addresses."""
    return [each for each in endpoints if not getattr(each[3].cls, "fallback", False)]


def add_document_schemas(result: Schema, **_: Any) -> Schema:
    """Name the exchange documents' schemas among the components."""
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
    """Point what pointed into the document's own parts at the components."""
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
    """Say of every operation how it refuses, and how much it takes."""
    result["components"]["schemas"]["Problem"] = PROBLEM_SCHEMA
    result["components"]["responses"] = {
        "Problem": {
            "description": "Why not, as problem details.",
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
    result["info"]["description"] = DESCRIPTION.format(most=settings.API_MAX_BODY)
    return result


DESCRIPTION = """\
Readings in, verdicts and findings out. Screening arithmetic, not design: the engineer
of record, the manufacturer's drawings and local codes govern.

Sign in with `Authorization: Token …` (make one under *tokens*) or with the session of a
browser. Lengths are millimetres, angles radians, strengths megapascals, times have
their zone. What you may not see is not found (404); what you may not do is refused
(403). A body is JSON in UTF-8 of at most {most:,} bytes, and no member is named twice;
a photograph comes as multipart/form-data. Every refusal is a problem document with
places and reasons. What is sent twice is stored once; after a 503 send the same request
again.
"""
