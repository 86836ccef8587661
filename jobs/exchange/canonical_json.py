"""Canonical JSON, so that the hash of a value can be verified years later.

The JSON Canonicalization Scheme (RFC 8785): members sorted by the UTF-16 code units of
their names, no white space, numbers as ECMAScript writes them (so 4.0 is 4).
"""

import hashlib
import json
import math
from collections.abc import Iterator
from decimal import Decimal
from typing import Any

MAX_SAFE_INTEGER = 2**53 - 1
"""Above it, not every integer is exact in JSON (RFC 7493, 2.2)."""

_string = json.encoder.encode_basestring


def canonical_json(value: Any) -> bytes:
    """Write a JSON value canonically, in UTF-8.

    Raises
    ------
    ValueError
        For NaN, infinities, integers that no double holds, text that is not Unicode,
        and too deep nesting.
    TypeError
        For values that JSON does not have.
    """
    try:
        return "".join(_write_parts(value)).encode("utf-8")
    except RecursionError:
        raise ValueError("This is nested too deeply for JSON.") from None


def sha256_of(value: Any) -> str:
    """Return the SHA-256 of a value's canonical JSON, in hexadecimal."""
    return hashlib.sha256(canonical_json(value)).hexdigest()


def _write_parts(value: Any) -> Iterator[str]:
    if isinstance(value, str):
        yield _string(value)
    elif value is None:
        yield "null"
    elif isinstance(value, bool):
        yield "true" if value else "false"
    elif isinstance(value, int):
        yield _integer_text(value)
    elif isinstance(value, float):
        yield number_text(value)
    elif isinstance(value, list | tuple):
        yield "["
        for index, item in enumerate(value):
            if index:
                yield ","
            yield from _write_parts(item)
        yield "]"
    elif isinstance(value, dict):
        yield "{"
        for index, name in enumerate(sorted(value, key=_utf16_code_units)):
            if index:
                yield ","
            yield _string(name)
            yield ":"
            yield from _write_parts(value[name])
        yield "}"
    else:
        raise TypeError(f"JSON has no {type(value).__name__}.")


def _utf16_code_units(name: str) -> bytes:
    if not isinstance(name, str):
        raise TypeError(f"A JSON member's name is text, not {type(name).__name__}.")
    # RFC 8785 sorts by UTF-16, in which characters beyond U+FFFF come before U+E000.
    return name.encode("utf-16-be")


def _integer_text(number: int) -> str:
    if abs(number) <= MAX_SAFE_INTEGER:
        return int.__repr__(number)
    try:
        text = number_text(float(number))
    except OverflowError:
        text = ""
    if text != int.__repr__(number):
        raise ValueError("This whole number is too large for JSON to carry exactly.")
    return text


def number_text(number: float) -> str:
    """Write a number as ECMAScript does (ECMA-262, Number::toString)."""
    if not math.isfinite(number):
        raise ValueError("JSON has no NaN and no infinities.")
    if number == 0:
        return "0"
    sign, digits, exponent = Decimal(float.__repr__(number)).normalize().as_tuple()
    figures = "".join(map(str, digits))
    point = len(figures) + int(exponent)
    if len(figures) <= point <= 21:
        text = figures + "0" * (point - len(figures))
    elif 0 < point <= 21:
        text = f"{figures[:point]}.{figures[point:]}"
    elif -6 < point <= 0:
        text = f"0.{'0' * -point}{figures}"
    else:
        fraction = f".{figures[1:]}" if len(figures) > 1 else ""
        text = f"{figures[0]}{fraction}e{point - 1:+d}"
    return f"-{text}" if sign else text
