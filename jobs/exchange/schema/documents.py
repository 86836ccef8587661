"""The published JSON Schemas, generated from the definitions of the formats.

A schema says what can be said about a document without computing. What it cannot say
(an outline that crosses itself, a wall that does not exist) the parser checks.
"""

from jobs.exchange.result.document import ResultDocument
from jobs.exchange.schema.building import building_schema
from jobs.exchange.schema.concrete_entry import concrete_entry_schema
from jobs.exchange.schema.typed_schema import Schema, SchemaBuilder
from jobs.exchange.vocabulary import RESULT_FORMAT

__all__ = ["building_schema", "concrete_entry_schema", "result_schema"]


def result_schema() -> Schema:
    """Return the schema of `padstone.result/1`."""
    builder = SchemaBuilder()
    return builder.document_schema(
        ResultDocument, RESULT_FORMAT, "urn:padstone:result:1"
    )
