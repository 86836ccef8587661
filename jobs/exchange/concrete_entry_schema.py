"""Entries of what becomes known of the concrete, as a JSON Schema."""

from jobs.exchange import schema_patterns as patterns
from jobs.exchange import vocabulary as words
from jobs.exchange.concrete import MOST_HOURS
from jobs.exchange.concrete_entries import KINDS, MEMBERS, METHOD, Kind
from jobs.exchange.given_concrete import concrete_given
from jobs.exchange.given_parts import name, object_of, plain, quantity
from jobs.exchange.schema_parts import Schema


def concrete_entry() -> Schema:
    """Return the schema of one entry; its members are those of the document."""
    return {"oneOf": [_of(kind) for kind in KINDS]}


def _of(kind: Kind) -> Schema:
    """Return the schema of an entry of this kind."""
    document = concrete_given()["properties"]
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
        "temperature": quantity("Of the concrete in place.", "57.5 degF"),
        "hours": plain("Since placing: needed of the first temperature.", MOST_HOURS),
        "strength": quantity("Of a test, the mean of its cylinders.", "3240 psi"),
        **{each: maturity[each] for each in (*METHOD, "curve", "expected")},
    }
    needed, optional = MEMBERS[kind]
    own = {each: known[each] for each in (*needed, *optional)}
    common = {
        "id": name("Chosen by who sends it, once for each.", words.LONGEST_ID),
        "kind": {"const": kind},
        "by": name("Who took it.", 60),
        "supersedes": name("The id of the entry it replaces.", words.LONGEST_ID),
        "note": {
            "type": "string",
            "maxLength": words.LONGEST_NOTE,
            "pattern": patterns.NOTE,
        },
    }
    schema = object_of({**common, **own}, ("id", "kind", *needed))
    if kind == "mixture":
        schema["oneOf"] = document["maturity"]["oneOf"]
    return schema
