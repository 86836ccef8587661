"""Members of the input format: each reads its value and describes it to a schema.

Each class here is one kind of value. It annotates a member of a typed dictionary in
`building_format`, which is then both parser and JSON Schema of that object::

    thickness: NotRequired[Annotated[float, LengthMember("Of the plate.", above=0)]]

Why not a validation library: every issue of a document has to be listed, each with a
pointer and a cure in the project's words; what follows a refused value is still read,
against placeholders; and a bare number's unit stands in another member.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from functools import cache
from typing import (
    Annotated,
    Any,
    Protocol,
    TypeVar,
    get_args,
    get_origin,
    get_type_hints,
)

from jobs.exchange.input.json_reader import JsonReader
from jobs.exchange.input.plausibility import MAX_TAPE_DEGC, MIN_TAPE_DEGC
from jobs.exchange.schema import input_patterns as patterns
from jobs.exchange.schema.typed_schema import Schema, SchemaBuilder
from jobs.exchange.vocabulary import MAX_NAME_LENGTH

MAX_LENGTH_MM = 1e7
MAX_QUANTITY_TEXT = 60

Members = TypeVar("Members")


class Member(Protocol):
    """A kind of value."""

    def read(self, reader: JsonReader) -> Any:
        """Read the value; where it is refused, return a placeholder of its type."""

    def describe(self, builder: SchemaBuilder) -> Schema:
        """Return its schema."""


# ---- texts --------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Name:
    """A text of one line that is not empty."""

    description: str
    max_length: int = MAX_NAME_LENGTH
    default: str | None = None

    def read(self, reader: JsonReader) -> str:
        return reader.read_name(self.max_length)

    def describe(self, builder: SchemaBuilder) -> Schema:
        schema: Schema = {
            "type": "string",
            "minLength": 1,
            "maxLength": self.max_length,
            "pattern": patterns.NAME,
            "description": self.description,
        }
        return schema if self.default is None else {**schema, "default": self.default}


@dataclass(frozen=True, slots=True)
class Note:
    """A text of several lines."""

    description: str
    max_length: int

    def read(self, reader: JsonReader) -> str:
        return reader.read_note(self.max_length)

    def describe(self, builder: SchemaBuilder) -> Schema:
        return {
            "type": "string",
            "maxLength": self.max_length,
            "pattern": patterns.NOTE,
            "description": self.description,
        }


@dataclass(frozen=True, slots=True)
class Choice:
    """One of a few words."""

    words: Sequence[str]
    description: str
    default: str | None = None

    def read(self, reader: JsonReader) -> str:
        return reader.read_choice(self.words)

    def describe(self, builder: SchemaBuilder) -> Schema:
        allowed: Schema = (
            {"const": self.words[0]}
            if len(self.words) == 1
            else {"enum": list(self.words)}
        )
        schema = {**allowed, "description": self.description}
        return schema if self.default is None else {**schema, "default": self.default}


@dataclass(frozen=True, slots=True)
class Constant:
    """A word that is known before the object is read."""

    word: str

    def read(self, reader: JsonReader) -> str:
        return self.word

    def describe(self, builder: SchemaBuilder) -> Schema:
        return {"const": self.word}


@dataclass(frozen=True, slots=True)
class Flag:
    """True or false."""

    description: str

    def read(self, reader: JsonReader) -> bool:
        return reader.read_bool()

    def describe(self, builder: SchemaBuilder) -> Schema:
        return {"type": "boolean", "default": False, "description": self.description}


# ---- quantities ---------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class LengthMember:
    """A length, read as millimetres."""

    description: str = ""
    at_least: float | None = None
    above: float | None = None

    def read(self, reader: JsonReader) -> float:
        return reader.read_mm(at_least=self.at_least, above=self.above)

    def describe(self, builder: SchemaBuilder) -> Schema:
        reference = builder.define("length", _LENGTH)
        if not self.description:
            return reference
        return {**reference, "description": self.description}


_LENGTH: Schema = {
    "description": "A bare number in length_unit, or text with its own unit: "
    '31\'-7 1/2", 4 1/2", 5/8 in, 31 ft 7.5 in, 7.125 m, 7125 mm. Typographic marks '
    "read the same. A hyphen is allowed only directly behind the foot mark, a sign "
    "only at the very front. At most 10 km.",
    "oneOf": [
        {"type": "number", "minimum": -MAX_LENGTH_MM, "maximum": MAX_LENGTH_MM},
        {"type": "string", "maxLength": MAX_QUANTITY_TEXT, "pattern": patterns.LENGTH},
    ],
}
_RATIO: Schema = {
    "description": 'A plain number above 0 and at most 1, or text: "1/500".',
    "oneOf": [
        {"type": "number", "exclusiveMinimum": 0, "maximum": 1},
        {"type": "string", "pattern": patterns.RATIO},
    ],
}


@dataclass(frozen=True, slots=True)
class Ratio:
    """A plain number above 0 and at most 1."""

    def read(self, reader: JsonReader) -> float:
        return reader.read_ratio()

    def describe(self, builder: SchemaBuilder) -> Schema:
        return builder.define("ratio", _RATIO)


@dataclass(frozen=True, slots=True)
class Quantity:
    """A quantity as text with its unit, read in the unit that `parse` returns."""

    parse: Callable[[object], float]
    description: str
    example: str
    above: float | None = None
    at_most: tuple[float, str] | None = None

    def read(self, reader: JsonReader) -> float:
        return reader.read_quantity(self.parse, above=self.above, at_most=self.at_most)

    def describe(self, builder: SchemaBuilder) -> Schema:
        return {
            "type": "string",
            "maxLength": MAX_QUANTITY_TEXT,
            "pattern": patterns.QUANTITY,
            "description": f"{self.description} A number and its unit.",
            "examples": [self.example],
        }


@dataclass(frozen=True, slots=True)
class TapeTemperature(Quantity):
    """A temperature that a tape can have, in °C."""

    def read(self, reader: JsonReader) -> float:
        before = reader.collector.count
        celsius = reader.read_quantity(self.parse)
        if reader.collector.count == before and not (
            MIN_TAPE_DEGC <= celsius <= MAX_TAPE_DEGC
        ):
            reader.add_issue(
                f"A tape is from {MIN_TAPE_DEGC:g} to {MAX_TAPE_DEGC:g} degC; check"
                " this value and its unit."
            )
        return celsius


@dataclass(frozen=True, slots=True)
class PositiveNumber:
    """A plain number above zero, whose unit the description names."""

    description: str
    maximum: float

    def read(self, reader: JsonReader) -> float:
        return reader.read_positive_number(self.maximum)

    def describe(self, builder: SchemaBuilder) -> Schema:
        return {
            "type": "number",
            "exclusiveMinimum": 0,
            "maximum": self.maximum,
            "description": self.description,
        }


# ---- dates --------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Day:
    """A date."""

    description: str

    def read(self, reader: JsonReader) -> date:
        return reader.read_date()

    def describe(self, builder: SchemaBuilder) -> Schema:
        return {
            "type": "string",
            "format": "date",
            "pattern": patterns.DATE,
            "description": self.description,
        }


@dataclass(frozen=True, slots=True)
class Moment:
    """A date and time with its time zone."""

    description: str

    def read(self, reader: JsonReader) -> datetime:
        return reader.read_time()

    def describe(self, builder: SchemaBuilder) -> Schema:
        return {
            "type": "string",
            "pattern": patterns.TIME,
            "description": f"{self.description} With its time zone (RFC 3339); "
            "seconds are optional.",
            "examples": ["2026-03-03T06:40:00-06:00"],
        }


# ---- containers: their values are read by the parser of what is in them --------------


@dataclass(frozen=True, slots=True)
class Nested:
    """An object with members of its own, or any value described by `schema`."""

    members: type[Any] | None = None
    schema: Schema | None = None

    def read(self, reader: JsonReader) -> JsonReader:
        return reader

    def describe(self, builder: SchemaBuilder) -> Schema:
        if self.members is None:
            return self.schema or {}
        return builder.reference(self.members)


@dataclass(frozen=True, slots=True)
class ListOf:
    """A list of objects or of values of one kind."""

    item: type[Any] | Member
    description: str = ""
    min_items: int = 0
    max_items: int | None = None

    def read(self, reader: JsonReader) -> list[JsonReader]:
        return reader.read_list(self.min_items, self.max_items)

    def describe(self, builder: SchemaBuilder) -> Schema:
        schema: Schema = {"type": "array"}
        if self.min_items:
            schema["minItems"] = self.min_items
        if self.max_items is not None:
            schema["maxItems"] = self.max_items
        schema["items"] = (
            builder.reference(self.item)
            if isinstance(self.item, type)
            else self.item.describe(builder)
        )
        if self.description:
            schema["description"] = self.description
        return schema


@dataclass(frozen=True, slots=True)
class ByName:
    """An object whose members are named by whoever writes the document."""

    members: type[Any]
    what: str
    description: str

    def read(self, reader: JsonReader) -> list[tuple[str, JsonReader]]:
        return list(reader.read_mapping(self.what))

    def describe(self, builder: SchemaBuilder) -> Schema:
        return {
            "type": "object",
            "description": self.description,
            "propertyNames": Name("Its name.").describe(builder),
            "additionalProperties": builder.reference(self.members),
        }


# ---- objects ------------------------------------------------------------------------


def read_members(
    reader: JsonReader,
    members: type[Members],
    *,
    required: Sequence[str] = (),
    excluded: Sequence[str] = (),
) -> Members:
    """Read an object by its typed dictionary.

    Unknown and missing members become issues, as do values that do not fit; those are
    replaced by placeholders. A missing member is missing in what is returned as well,
    so that members the type requires are read with `get`.

    Parameters
    ----------
    reader : at the object.
    members : its typed dictionary.
    required, excluded : members that are needed, or not allowed, here besides.
    """
    known, needed, names = _table(members)  # type: ignore[arg-type]
    if excluded:
        known = {name: read for name, read in known.items() if name not in excluded}
        names = {name: size for name, size in names.items() if name not in excluded}
    read: Any = reader.read_object(
        known, (*needed, *required) if required else needed, names
    )
    return read  # type: ignore[no-any-return]


@cache
def _table(
    members: type[Any],
) -> tuple[dict[str, Callable[[JsonReader], Any]], tuple[str, ...], dict[str, int]]:
    """Return how each member is read, which are required, and the length of names."""
    # Resolved once per typed dictionary: thousands of readings share the table.
    hints = get_type_hints(members, include_extras=True)
    kinds = {name: member_of(hint) for name, hint in hints.items()}
    return (
        {name: kind.read for name, kind in kinds.items()},
        tuple(name for name in hints if name in members.__required_keys__),
        {name: kind.max_length for name, kind in kinds.items() if type(kind) is Name},
    )


def member_of(hint: Any) -> Member:
    """Return the `Member` that annotates a type."""
    while get_origin(hint) is not Annotated:
        hint = get_args(hint)[0]
    member: Member = hint.__metadata__[0]
    return member
