"""All computations, in the order of the work."""

from collections.abc import Mapping
from typing import Any

from checks.methods import (
    anchors,
    causes,
    columns,
    concrete,
    groups,
    levels,
    outline,
    plates,
    readings,
    remedy_order,
    rods,
    shims,
    squareness,
    steel_moves,
    survey,
    tape,
    tape_use,
    threads,
    verdicts,
)
from checks.methods.model import MethodDescription, MethodFamily

FAMILIES = (
    MethodFamily(slug="tape", name="Tape", methods=(*tape.METHODS, *tape_use.METHODS)),
    MethodFamily(
        slug="verdicts",
        name="Readings and verdicts",
        methods=(*readings.METHODS, *verdicts.METHODS),
    ),
    MethodFamily(
        slug="figure",
        name="Outline",
        methods=(*outline.METHODS, *squareness.METHODS, *survey.METHODS),
    ),
    MethodFamily(
        slug="patterns",
        name="Rods and column lines",
        methods=(*rods.METHODS, *groups.METHODS),
    ),
    MethodFamily(
        slug="plates",
        name="Base plates and steel",
        methods=(*plates.METHODS, *steel_moves.METHODS),
    ),
    MethodFamily(
        slug="surfaces",
        name="Levels and shims",
        methods=(*levels.METHODS, *shims.METHODS),
    ),
    MethodFamily(
        slug="anchors",
        name="Threads and anchors",
        methods=(*threads.METHODS, *anchors.METHODS),
    ),
    MethodFamily(slug="concrete", name="Concrete", methods=concrete.METHODS),
    MethodFamily(slug="columns", name="Columns", methods=columns.METHODS),
    MethodFamily(
        slug="advice",
        name="Causes and remedies",
        methods=(*causes.METHODS, *remedy_order.METHODS),
    ),
)


def list_methods() -> tuple[MethodDescription, ...]:
    """Give every computation, in order."""
    return tuple(method for family in FAMILIES for method in family.methods)


def find_method(slug: str) -> MethodDescription | None:
    """Give the computation at an address, None where there is none."""
    return next((method for method in list_methods() if method.slug == slug), None)


def find_neighbours(
    method: MethodDescription,
) -> tuple[MethodDescription | None, MethodDescription | None]:
    """Give the computations before and after one, None at the ends."""
    order: tuple[MethodDescription | None, ...] = (None, *list_methods(), None)
    at = order.index(method)
    return order[at - 1], order[at + 1]


METHOD_BY_REMEDY = {
    "shift": "plate-fit",
    "ream": "plate-fit",
    "slot": "slots",
    "re_anchor": "re-anchor",
    "shim": "shim-stacks",
    "lower_pad": "lower-one-pad",
    "extend_rod": "partial-engagement",
    "square_up": "square-up",
    "plumb_up": "plumb",
    "wait_for_strength": "strength-gate",
}
"""The computation behind each remedy that has arithmetic."""


def find_remedy_method(remedy: Mapping[str, Any]) -> str:
    """Give the address of a remedy's computation, empty where it has none."""
    scope = remedy.get("scope")
    if scope is not None:
        return "move-steel" if scope == "steel" else "move-frame-line"
    return METHOD_BY_REMEDY.get(str(remedy["remedy"]), "")
