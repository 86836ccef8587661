"""All computations, in the order of the work."""

from collections.abc import Mapping
from typing import Any

from checks.methods.examples import (
    anchors,
    columns,
    concrete,
    fit_up,
    levels,
    new_plate,
    next_readings,
    outline,
    plates,
    remedies,
    rods,
    tape,
    verdicts,
)
from checks.methods.model import MethodDescription
from checks.methods.text_files import read_family

# Read once, at import: a faulty text stops the program from starting.
FAMILIES = tuple(
    read_family(examples)
    for examples in (
        tape,
        verdicts,
        next_readings,
        outline,
        rods,
        plates,
        fit_up,
        new_plate,
        levels,
        anchors,
        concrete,
        columns,
        remedies,
    )
)


def list_methods() -> tuple[MethodDescription, ...]:
    """List every computation, in order."""
    return tuple(method for family in FAMILIES for method in family.methods)


def find_method(slug: str) -> MethodDescription | None:
    """Return the computation at an address, None where there is none."""
    return next((method for method in list_methods() if method.slug == slug), None)


def find_neighbours(
    method: MethodDescription,
) -> tuple[MethodDescription | None, MethodDescription | None]:
    """Return the computations before and after one, None at the ends."""
    order: tuple[MethodDescription | None, ...] = (None, *list_methods(), None)
    at = order.index(method)
    return order[at - 1], order[at + 1]


METHOD_BY_REMEDY = {
    remedy: method.slug for method in list_methods() for remedy in method.remedies
}
"""The computation behind each remedy that has arithmetic."""


def find_remedy_method(remedy: Mapping[str, Any]) -> str:
    """Return the address of a remedy's computation, empty where it has none."""
    # Only a shift of the steel has a scope; a shift of a plate has none.
    scope = remedy.get("scope")
    if scope is not None:
        return "move-steel" if scope == "steel" else "move-frame-line"
    return METHOD_BY_REMEDY.get(str(remedy["remedy"]), "")
