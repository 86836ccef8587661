"""JSON Schema (2020-12) from typed dictionaries: one definition, no second copy.

A `TypedDict` defines an object, and its docstring describes it. A member is
`Annotated` with its description and, where the Python type says too little, with a
`Unit`, `OneOf`, `AtLeast` or `Format`; or with one object that describes itself (see
`jobs.exchange.input.members`). `float | None` becomes a number or null, and a member
that may be missing is `NotRequired`.
"""

import re
import types
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from enum import StrEnum
from inspect import getdoc
from typing import (
    Annotated,
    Any,
    Literal,
    NotRequired,
    Required,
    Union,
    get_args,
    get_origin,
    get_type_hints,
    is_typeddict,
)

Schema = dict[str, Any]

DIALECT = "https://json-schema.org/draft/2020-12/schema"
SUFFIXES = ("Result", "Members", "Document")

_TYPE_NAMES: dict[Any, str] = {
    float: "number",
    int: "integer",
    bool: "boolean",
    str: "string",
    type(None): "null",
}


@dataclass(frozen=True, slots=True)
class Unit:
    """The unit of a quantity, written behind its description."""

    symbol: str


@dataclass(frozen=True, slots=True)
class OneOf:
    """The words a text may be; it goes in front of the description."""

    words: Sequence[str] | type[StrEnum]


@dataclass(frozen=True, slots=True)
class AtLeast:
    """The least value of a count."""

    minimum: int


@dataclass(frozen=True, slots=True)
class Format:
    """The `format` of a text, such as a date."""

    name: str


MM, RAD, MPA, NEWTON, HOURS = Unit("mm"), Unit("rad"), Unit("MPa"), Unit("N"), Unit("h")


@dataclass
class SchemaBuilder:
    """The definitions of a schema, collected while its objects are described.

    Attributes
    ----------
    closed : true if objects can have no other members.
    inline : true to write objects where they are used, without definitions.
    rules : further keywords of an object, by its typed dictionary: what holds among its
        members.
    definitions : the schema's `$defs`.
    """

    closed: bool = False
    inline: bool = False
    rules: Mapping[type[Any], Schema] = field(default_factory=dict)
    definitions: dict[str, Schema] = field(default_factory=dict)

    def document_schema(self, document: type[Any], title: str, urn: str) -> Schema:
        """Return the schema of a whole document."""
        schema = self.object_schema(document)
        return {
            "$schema": DIALECT,
            "$id": urn,
            "title": title,
            **schema,
            "$defs": self.definitions,
        }

    def object_schema(self, document: type[Any]) -> Schema:
        """Return the schema of an object."""
        hints = get_type_hints(document, include_extras=True)
        required = [name for name in hints if name in document.__required_keys__]
        schema: Schema = {
            "type": "object",
            "description": " ".join((getdoc(document) or "").split()),
            "properties": {
                name: self.type_schema(hint) for name, hint in hints.items()
            },
        }
        if required:
            schema["required"] = required
        if self.closed:
            schema["additionalProperties"] = False
        return schema | self.rules.get(document, {})

    def reference(self, document: type[Any]) -> Schema:
        """Define an object once, and return a reference to it."""
        if self.inline:
            return self.object_schema(document)
        name = document.__name__
        for suffix in SUFFIXES:
            name = name.removesuffix(suffix)
        name = re.sub(r"(?<!^)(?=[A-Z])", "_", name).lower()
        if name not in self.definitions:
            self.definitions[name] = self.object_schema(document)
        return {"$ref": f"#/$defs/{name}"}

    def define(self, name: str, schema: Schema) -> Schema:
        """Define a schema by name, and return a reference to it."""
        self.definitions[name] = schema
        return {"$ref": f"#/$defs/{name}"}

    def type_schema(self, hint: Any) -> Schema:
        """Return the schema of a member's type."""
        origin, parts = get_origin(hint), get_args(hint)
        if origin is Annotated:
            if hasattr(parts[1], "describe"):
                described: Schema = parts[1].describe(self)
                return described
            return _annotate(self.type_schema(parts[0]), parts[1:])
        if origin in (Required, NotRequired):
            return self.type_schema(parts[0])
        if origin is Literal:
            return {"enum": list(parts)}
        if origin in (Union, types.UnionType):
            return _combine([self.type_schema(part) for part in parts])
        if origin is list:
            return {"type": "array", "items": self.type_schema(parts[0])}
        if is_typeddict(hint):
            return self.reference(hint)
        return {"type": _TYPE_NAMES[hint]}


def _combine(schemas: Sequence[Schema]) -> Schema:
    if all(schema.keys() == {"type"} for schema in schemas):
        return {"type": [schema["type"] for schema in schemas]}
    return {"anyOf": list(schemas)}


def _annotate(schema: Schema, notes: Sequence[Any]) -> Schema:
    for note in notes:
        match note:
            case str():
                schema = {**schema, "description": note}
            case Unit(symbol):
                schema["description"] = f"{schema['description']} [{symbol}]"
            case OneOf(words):
                allowed = [str(word) for word in words]
                single = len(allowed) == 1
                schema = {"const": allowed[0]} if single else {"enum": allowed}
            case AtLeast(minimum):
                schema["minimum"] = minimum
            case Format(name):
                schema["format"] = name
    return schema
