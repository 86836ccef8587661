"""Values of worked examples, shown as a format specification says.

`length` and `fine` take millimetres and are shown in the reader's units, `fine` in
decimals; a number takes its decimals and its unit, such as `2 psi`; `within` and
`yes_no` take a boolean, `verdict` and `text` a word. A plus sign in front shows the
sign of positive values too.
"""

import re
from string import Formatter
from typing import Any

from checks.methods.model import (
    ExampleInput,
    ExampleResult,
    ExampleText,
    ExampleValue,
)
from core.units import MM_PER_UNIT
from core.vocabulary import Verdict

MINUS = "\N{MINUS SIGN}"
NO_BREAK_SPACE = "\N{NO-BREAK SPACE}"
FOOT_MM = float(MM_PER_UNIT["ft"])
INCH_MM = float(MM_PER_UNIT["in"])

_NUMBER = re.compile(r"(?P<digits>\d)(?: (?P<unit>.+))?")


def show_value(value: Any, spec: str) -> ExampleValue:
    """Return a value as the format specification shows it."""
    # Some rows are a length in one case and a word in another.
    if isinstance(value, ExampleValue):
        return value
    signed, kind = spec.startswith("+"), spec.removeprefix("+")
    if kind in ("length", "fine"):
        mm = float(value)
        return ExampleValue(mm=mm, value=mm, fine=kind == "fine", signed=signed)
    if kind == "within":
        return ExampleValue(verdict=Verdict.WITHIN if value else Verdict.OUTSIDE)
    if kind == "verdict":
        return ExampleValue(verdict=value)
    if kind == "yes_no":
        return ExampleValue(text="yes" if value else "no")
    if kind in ("text", ""):
        return ExampleValue(text=str(value))
    number = _NUMBER.fullmatch(kind)
    if number is None:
        msg = f"{spec!r} shows no value."
        raise ValueError(msg)
    plus = "+" if signed else ""
    # `z` turns a negative zero into a plain one.
    shown = f"{float(value):{plus}z,.{number['digits']}f}".replace("-", MINUS)
    unit = f"{NO_BREAK_SPACE}{number['unit']}" if number["unit"] else ""
    return ExampleValue(text=f"{shown}{unit}", value=float(value))


def write_text(template: str, *values: Any) -> ExampleText:
    """Fill the values into a sentence, in their order: `"{:length} is within."`."""
    parts, rest = [], iter(values)
    for text, field, spec, _ in Formatter().parse(template):
        if text:
            parts.append(ExampleValue(text=text))
        if field is not None:
            parts.append(show_value(next(rest), spec or ""))
    return tuple(parts)


def describe_input(label: str, template: str, *values: Any) -> ExampleInput:
    """Return one input of an example."""
    return ExampleInput(label=label, text=write_text(template, *values))


def build_result(
    label: str,
    spec: str,
    computed: Any,
    by_hand: Any = None,
    *,
    published: Any = None,
    published_spec: str = "",
    hand_tolerance: float = 1e-9,
) -> ExampleResult:
    """Return one figure of an example; `published_spec` where it has fewer digits."""
    return ExampleResult(
        label=label,
        computed=show_value(computed, spec),
        by_hand=None if by_hand is None else show_value(by_hand, spec),
        published=None
        if published is None
        else show_value(published, published_spec or spec),
        hand_tolerance=hand_tolerance,
    )
