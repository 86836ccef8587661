"""The published JSON Schemas, generated from the definitions of the formats.

A schema says what can be said about a document without computing. What it cannot say
(an outline that crosses itself, a wall that does not exist) the parser checks.
"""

from jobs.exchange.input.building_format import RULES, BuildingMembers
from jobs.exchange.input.concrete_format import MEMBERS_BY_ENTRY_KIND
from jobs.exchange.result.document import ResultDocument
from jobs.exchange.schema.typed_schema import Schema, SchemaBuilder
from jobs.exchange.vocabulary import BUILDING_FORMAT, RESULT_FORMAT


def building_schema() -> Schema:
    """Return the schema of `padstone.building/1`."""
    builder = SchemaBuilder(closed=True, rules=RULES)
    return builder.document_schema(
        BuildingMembers, BUILDING_FORMAT, "urn:padstone:building:1"
    )


def result_schema() -> Schema:
    """Return the schema of `padstone.result/1`."""
    builder = SchemaBuilder()
    return builder.document_schema(
        ResultDocument, RESULT_FORMAT, "urn:padstone:result:1"
    )


def concrete_entry_schema() -> Schema:
    """Return the schema of an entry of concrete data."""
    builder = SchemaBuilder(closed=True, inline=True, rules=RULES)
    kinds = MEMBERS_BY_ENTRY_KIND.values()
    return {"oneOf": [builder.object_schema(members) for members in kinds]}
