"""Schemas generated from typed dictionaries."""

from typing import Annotated, NotRequired, TypedDict

import jsonschema
import pytest

from core.vocabulary import Verdict
from jobs.exchange.schema.typed_schema import MM, AtLeast, OneOf, SchemaBuilder

Words = Annotated[str, OneOf(Verdict), "How it is judged."]


class GapResult(TypedDict):
    """A gap between two marks."""

    width: Annotated[float | None, "Across it.", MM]
    count: NotRequired[Annotated[int, AtLeast(1), "How many."]]


class WallResult(TypedDict):
    """A wall with gaps."""

    verdict: Words
    gaps: list[GapResult]
    widest: NotRequired[Annotated[GapResult | None, "The widest."]]


def schema(**options: bool) -> dict[str, object]:
    builder = SchemaBuilder(**options)
    return builder.document_schema(WallResult, "wall/1", "urn:wall")


def fits(document: object, **options: bool) -> bool:
    return jsonschema.Draft202012Validator(schema(**options)).is_valid(document)


def test_members_that_may_be_missing_are_not_required() -> None:
    assert schema()["required"] == ["verdict", "gaps"]
    assert fits({"verdict": "within", "gaps": []})
    assert not fits({"verdict": "within"})


def test_a_unit_follows_the_description_and_a_docstring_describes_the_object() -> None:
    builder = SchemaBuilder()
    builder.reference(GapResult)
    gap = builder.definitions["gap"]
    assert gap["description"] == "A gap between two marks."
    assert gap["properties"]["width"] == {
        "type": ["number", "null"],
        "description": "Across it. [mm]",
    }


@pytest.mark.parametrize(
    ("document", "valid"),
    [
        ({"verdict": "within", "gaps": [{"width": None}], "widest": None}, True),
        ({"verdict": "within", "gaps": [{"width": 2.5, "count": 1}]}, True),
        ({"verdict": "fine", "gaps": []}, False),
        ({"verdict": "within", "gaps": [{"width": "2"}]}, False),
        ({"verdict": "within", "gaps": [{"width": 1.0, "count": 0}]}, False),
        ({"verdict": "within", "gaps": [], "widest": 3}, False),
    ],
)
def test_values_are_held_to_their_types(document: object, valid: bool) -> None:
    assert fits(document) == valid


def test_only_a_closed_schema_refuses_unknown_members() -> None:
    document = {"verdict": "within", "gaps": [], "later": True}
    assert fits(document)
    assert not fits(document, closed=True)


def test_an_inline_schema_has_no_definitions() -> None:
    builder = SchemaBuilder(inline=True)
    described = builder.object_schema(WallResult)
    assert "$ref" not in str(described)
    assert builder.definitions == {}
