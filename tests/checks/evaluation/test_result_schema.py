"""Result documents against the published schema."""

import json
from collections.abc import Callable, Iterator
from typing import Any

import jsonschema
import pytest

from checks.evaluation.evaluate import evaluate
from jobs.exchange.input.parser import parse_building
from jobs.exchange.published_schemas import result_schema
from tests import documents

Document = dict[str, Any]
SCHEMA = result_schema()


def untouched(document: Document) -> None:
    """As it is."""


def unread(document: Document) -> None:
    document["readings"] = []


def some_unread(document: Document) -> None:
    document["readings"] = document["readings"][::3]


def side_off(document: Document) -> None:
    for mark in ("A1", "A2", "A3"):
        for rod in range(1, 5):
            documents.off_by(document, f"setback:{mark}.{rod}", 9.5)


def one_rod_off(document: Document) -> None:
    document["concrete"]["placed_on"] = "2026-03-20"
    documents.off_by(document, "offset:A1.1", 9.0)
    documents.off_by(document, "offset:B2.3", 60.0)


def a_group_off_by_the_handbook(document: Document) -> None:
    document["tolerances"] = {"basis": "aisc-303-2010", "guarded": True}
    for rod in range(1, 5):
        documents.off_by(document, f"offset:A2.{rod}", 9.0)


def surfaces_off(document: Document) -> None:
    documents.off_by(document, "level:A2", -6.0)
    documents.off_by(document, "level:B1", 50.0)
    documents.off_by(document, "projection:A1.1", -40.0)
    documents.off_by(document, "projection:A1.2", 40.0)
    documents.off_by(document, "notch_width:SW-SE", 30.0)


def outline_off(document: Document) -> None:
    documents.off_by(document, "diagonal:SW-NE", 40.0)
    documents.off_by(document, "wall:SE-NE", 25.0)


def columns_and_concrete_off(document: Document) -> None:
    documents.reading_of(document, "strength:F1")["value"] = "900 psi"
    lean = {"id": "l", "check": "plumb:A1.in", "value": "30 mm", "height": "6 m"}
    document["readings"].append(lean)


CHANGES = (
    untouched,
    unread,
    some_unread,
    side_off,
    one_rod_off,
    a_group_off_by_the_handbook,
    surfaces_off,
    outline_off,
    columns_and_concrete_off,
)


def resolved(schema: Document) -> list[Document]:
    """The object and array schemas that a schema comes to."""
    if "$ref" in schema:
        return resolved(SCHEMA["$defs"][schema["$ref"].rsplit("/", 1)[1]])
    if "anyOf" in schema:
        return [each for part in schema["anyOf"] for each in resolved(part)]
    return [schema]


def undescribed(schema: Document, value: Any, path: str) -> Iterator[str]:
    """Paths of the members of a value that the schema has no words for."""
    parts = resolved(schema)
    if isinstance(value, dict):
        known: Document = {}
        for part in parts:
            known |= part.get("properties", {})
        rest = next(
            (p["additionalProperties"] for p in parts if "additionalProperties" in p),
            None,
        )
        for name, member in value.items():
            inside = known.get(name, rest)
            if inside is None:
                yield f"{path}/{name}"
            else:
                yield from undescribed(inside, member, f"{path}/{name}")
    elif isinstance(value, list):
        inside = next((p["items"] for p in parts if "items" in p), None)
        for place, member in enumerate(value):
            if inside is not None:
                yield from undescribed(inside, member, f"{path}/{place}")


@pytest.mark.parametrize("change", CHANGES, ids=lambda change: change.__name__)
def test_every_result_fits_its_schema_and_every_member_is_described(
    change: Callable[[Document], None],
) -> None:
    result = evaluate(parse_building(documents.shed(change)))
    written = json.loads(json.dumps(result, allow_nan=False))
    jsonschema.Draft202012Validator(SCHEMA).validate(written)
    # squareness.suspect_readings are open: what is told of a suspect may grow
    assert list(undescribed(SCHEMA, written, "")) == []


def test_the_rare_members_are_written_by_some_of_these() -> None:
    results = [evaluate(parse_building(documents.shed(change))) for change in CHANGES]
    remedies = {
        remedy["remedy"]
        for result in results
        for finding in result["findings"]
        for remedy in finding["remedies"]
    }
    assert {"ream", "slot", "shim", "extend_rod", "plumb_up"} <= remedies
    assert {"remeasure", "wait_for_strength", "refer", "shift"} <= remedies
    assert any(result["steel_shifts"] for result in results)
    assert any(result["group_rules"] for result in results)
    assert any(f["ruled_out"] for result in results for f in result["findings"])
