"""Descriptions of the computations, read from the TOML files in `texts/`.

A file is one family: `slug`, `name`, the `sources` that several methods share, and
`methods`. A symbol is a list of sign, meaning and unit; a source is the name of a
shared one, or a list of text and provenance; an example names the function of the
family's module in `examples/` that calculates it.
"""

import tomllib
from collections.abc import Callable, Iterable, Mapping
from pathlib import Path
from types import ModuleType
from typing import Any

from checks.engine import cautions
from checks.engine.sources import Provenance
from checks.methods.mathml import render_formula, render_symbol
from checks.methods.model import (
    Calculation,
    Example,
    MethodDescription,
    MethodFamily,
    MethodSource,
    Symbol,
)

TEXTS = Path(__file__).parent / "texts"
REQUIRED = frozenset(
    {"slug", "name", "summary", "modules", "formulas", "sources", "limits", "examples"}
)
# A method of order has no symbols, and not every method backs a remedy.
OPTIONAL = frozenset({"symbols", "cautions", "remedies"})
EXAMPLE_MEMBERS = frozenset({"title", "source", "calculate"})

Table = Mapping[str, Any]


class MethodTextError(ValueError):
    """A file of texts that does not have the members it needs."""


def read_family(examples: ModuleType) -> MethodFamily:
    """Read the family whose examples a module calculates.

    Raises
    ------
    MethodTextError
        If a member is missing or unknown, or a name in it stands for nothing.
    """
    # Text and examples have one name: a topic is edited in two files side by side.
    stem = examples.__name__.rpartition(".")[2]
    path = TEXTS / f"{stem}.toml"
    table = tomllib.loads(path.read_text(encoding="utf-8"))
    try:
        shared = {
            name: _read_source(row, {})
            for name, row in table.get("sources", {}).items()
        }
        return MethodFamily(
            slug=table["slug"],
            name=table["name"],
            methods=tuple(
                _read_method(method, shared, examples) for method in table["methods"]
            ),
        )
    except (KeyError, TypeError, ValueError, AttributeError) as error:
        msg = f"{path.name}: {error}"
        raise MethodTextError(msg) from error


def _read_method(
    table: Table, shared: Mapping[str, MethodSource], examples: ModuleType
) -> MethodDescription:
    _check_members(table, REQUIRED, OPTIONAL)
    return MethodDescription(
        slug=table["slug"],
        name=table["name"],
        summary=table["summary"],
        modules=tuple(table["modules"]),
        formulas=tuple(render_formula(text) for text in table["formulas"]),
        symbols=tuple(
            Symbol(render_symbol(sign), *rest)
            for sign, *rest in table.get("symbols", ())
        ),
        sources=tuple(_read_source(row, shared) for row in table["sources"]),
        limits=tuple(table["limits"]),
        examples=tuple(_read_examples(table["examples"], shared, examples)),
        cautions=tuple(
            str(getattr(cautions, name.upper())) for name in table.get("cautions", ())
        ),
        remedies=tuple(table.get("remedies", ())),
    )


def _read_examples(
    rows: Iterable[Table], shared: Mapping[str, MethodSource], module: ModuleType
) -> Iterable[Example]:
    for row in rows:
        _check_members(row, EXAMPLE_MEMBERS - {"source"}, EXAMPLE_MEMBERS)
        calculate: Callable[[], Calculation] = getattr(module, row["calculate"])
        source = _read_source(row["source"], shared) if "source" in row else None
        yield Example(title=row["title"], source=source, calculate=calculate)


def _read_source(
    row: str | list[str], shared: Mapping[str, MethodSource]
) -> MethodSource:
    if isinstance(row, str):
        return shared[row]
    text, provenance = row
    return MethodSource(text, Provenance(provenance))


def _check_members(
    table: Table, required: frozenset[str], optional: frozenset[str]
) -> None:
    missing = required - set(table)
    unknown = set(table) - required - optional
    if missing or unknown:
        name = table.get("slug") or table.get("title") or "a table"
        msg = f"{name}: missing {sorted(missing)}, unknown {sorted(unknown)}"
        raise ValueError(msg)
