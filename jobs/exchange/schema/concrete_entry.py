"""Entries of what becomes known of the concrete, as a JSON Schema."""

from jobs.exchange import vocabulary as words
from jobs.exchange.input.concrete import MAX_ELAPSED_H
from jobs.exchange.input.concrete_entries import (
    CONCRETE_ENTRY_KINDS,
    MATURITY_METHOD_MEMBERS,
    MEMBERS_BY_KIND,
    ConcreteEntryKind,
)
from jobs.exchange.schema import input_patterns as patterns
from jobs.exchange.schema.input_concrete import input_concrete_schema
from jobs.exchange.schema.input_parts import (
    closed_object,
    name_schema,
    positive_number,
    quantity_schema,
)
from jobs.exchange.schema.typed_schema import Schema


def concrete_entry_schema() -> Schema:
    """Return the schema of one entry; its members are those of the document."""
    return {"oneOf": [_kind_schema(kind) for kind in CONCRETE_ENTRY_KINDS]}


def _kind_schema(kind: ConcreteEntryKind) -> Schema:
    """Return the schema of an entry of this kind."""
    document = input_concrete_schema()["properties"]
    maturity = document["maturity"]["properties"]
    day = document["placed_on"]
    known = {
        "placed_on": day,
        "on": {**day, "description": "The day it is of."},
        "at": {
            "type": "string",
            "pattern": patterns.TIME,
            "description": "When it was read, with its time zone (RFC 3339).",
            "examples": ["2026-03-03T06:40:00-06:00"],
        },
        "temperature": quantity_schema("Of the concrete in place.", "57.5 degF"),
        "hours": positive_number(
            "Since placing: needed of the first temperature.", MAX_ELAPSED_H
        ),
        "strength": quantity_schema(
            "Of a test, the mean of its cylinders.", "3240 psi"
        ),
        **{
            each: maturity[each]
            for each in (*MATURITY_METHOD_MEMBERS, "curve", "expected")
        },
    }
    needed, optional = MEMBERS_BY_KIND[kind]
    own = {each: known[each] for each in (*needed, *optional)}
    common = {
        "id": name_schema(
            "Chosen by who sends it, once for each.", words.MAX_ID_LENGTH
        ),
        "kind": {"const": kind},
        "by": name_schema("Who took it.", 60),
        "supersedes": name_schema(
            "The id of the entry it replaces.", words.MAX_ID_LENGTH
        ),
        "note": {
            "type": "string",
            "maxLength": words.MAX_NOTE_LENGTH,
            "pattern": patterns.NOTE,
        },
    }
    schema = closed_object({**common, **own}, ("id", "kind", *needed))
    if kind == "mixture":
        schema["oneOf"] = document["maturity"]["oneOf"]
    return schema
