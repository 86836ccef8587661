"""Strengths, temperatures, forces and angles: parsing of typed text into SI units.

Every quantity but a length is one number and one unit, converted by pint. Pint is
imported with the first such quantity, because the import takes a third of a second.
"""

import re
from functools import lru_cache
from typing import Any

from core.units import MAX_TEXT_LENGTH, UnitError, name_json_type, quote

_TERM = r"[A-Za-zµμ°]{1,20}(?:(?:\^|\*\*)[1-9]|[²³])?"
_QUANTITY = re.compile(
    rf"(?P<sign>[-+\u2212]?)(?P<number>[0-9]{{1,15}}(?:\.[0-9]{{1,15}})?|\.[0-9]{{1,15}})"
    rf"[ \u00a0\u202f]*(?P<unit>{_TERM}(?: ?[*·/] ?{_TERM}){{0,3}})"
)


@lru_cache(maxsize=1)
def _registry() -> Any:
    import pint

    return pint.UnitRegistry(cache_folder=None)


@lru_cache(maxsize=256)
def _find_units(unit: str, target: str) -> tuple[Any, Any] | None:
    """Find both units in the registry; None where one does not convert to the other."""
    import pint

    registry = _registry()
    try:
        written = registry.Unit(unit.replace("²", "^2").replace("³", "^3"))
        wanted = registry.Unit(target)
        registry.Quantity(1.0, written).to(wanted)
    except (pint.PintError, AttributeError, TypeError, ValueError):
        return None
    if target == "rad" and registry.get_base_units(written)[1] != wanted:
        return None  # to pint an angle is a plain number, like a count
    return written, wanted


def _parse_quantity(
    value: object, what: str, target: str, example: str
) -> tuple[float, float]:
    """Parse a number with a unit; return the value and its last decimal in `target`."""
    if not isinstance(value, str):
        raise UnitError(
            f"{what} is text with its unit, such as {example}; "
            f"this is {name_json_type(value)}."
        )
    return _parse_quantity_text(value, what, target, example)


@lru_cache(maxsize=4096)
def _parse_quantity_text(
    value: str, what: str, target: str, example: str
) -> tuple[float, float]:
    """Parse a text, cached: crews send the same few temperatures by thousands."""
    found = (
        _QUANTITY.fullmatch(value.strip()) if len(value) <= MAX_TEXT_LENGTH else None
    )
    if found is None:
        raise UnitError(
            f"{quote(value)}: {what.lower()} is one number and its unit, "
            f"such as {example}."
        )
    units = _find_units(found["unit"], target)
    if units is None:
        raise UnitError(
            f"{quote(value)}: {found['unit']} is not a unit for "
            f"{what.lower()}; write for example {example}."
        )
    written, wanted = units

    def convert(number: float) -> float:
        return float(_registry().Quantity(number, written).to(wanted).magnitude)

    magnitude = float(found["number"]) * (-1 if found["sign"] in ("-", "\u2212") else 1)
    step = 10.0 ** -len(found["number"].partition(".")[2])
    return convert(magnitude), abs(convert(step) - convert(0.0))


def parse_strength(value: object) -> float:
    """Parse a strength or stress, such as `3000 psi` [MPa]."""
    return _parse_quantity(value, "A strength", "MPa", "3000 psi or 20.7 MPa")[0]


def parse_strength_resolution(value: object) -> float:
    """Return the last decimal of a strength as typed [MPa]."""
    return _parse_quantity(value, "A strength", "MPa", "3000 psi or 20.7 MPa")[1]


def parse_modulus(value: object) -> float:
    """Parse an elastic modulus, such as `205 GPa` [MPa]."""
    return _parse_quantity(value, "An elastic modulus", "MPa", "205 GPa or 29000 ksi")[
        0
    ]


def parse_temperature(value: object) -> float:
    """Parse a temperature, such as `41 degF` [°C]."""
    celsius = _parse_quantity(value, "A temperature", "degC", "41 degF or 5 degC")[0]
    if celsius < -273.15:
        raise UnitError(f"{quote(str(value))} is below absolute zero.")
    return celsius


def parse_force(value: object) -> float:
    """Parse a force, such as `12 lbf` [N]."""
    return _parse_quantity(value, "A force", "N", "12 lbf or 50 N")[0]


def parse_angle(value: object) -> float:
    """Parse an angle, such as `90 deg` [rad]."""
    return _parse_quantity(value, "An angle", "rad", "90 deg or 1.5708 rad")[0]


def parse_area(value: object) -> float:
    """Parse an area, such as `2.5 mm^2` [mm²]."""
    return _parse_quantity(value, "An area", "mm^2", "2.5 mm^2 or 0.004 in^2")[0]


def parse_line_weight(value: object) -> float:
    """Parse a weight per length, such as `0.19 N/m` [N/m]."""
    return _parse_quantity(
        value, "A weight per length", "N/m", "0.19 N/m or 0.013 lbf/ft"
    )[0]
