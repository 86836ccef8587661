"""All computations, in the order of the work."""

from collections.abc import Mapping
from typing import Any

from checks.methods import (
    advice,
    anchors,
    causes,
    columns,
    concrete,
    groups,
    levels,
    moving,
    outline,
    plates,
    readings,
    rods,
    shims,
    squareness,
    surveyed,
    tape,
    taping,
    threads,
    verdicts,
)
from checks.methods.model import Family, Method

FAMILIES = (
    Family(slug="tape", name="Tape", methods=(*tape.METHODS, *taping.METHODS)),
    Family(
        slug="verdicts",
        name="Readings and verdicts",
        methods=(*readings.METHODS, *verdicts.METHODS),
    ),
    Family(
        slug="figure",
        name="Outline",
        methods=(*outline.METHODS, *squareness.METHODS, *surveyed.METHODS),
    ),
    Family(
        slug="patterns",
        name="Rods and column lines",
        methods=(*rods.METHODS, *groups.METHODS),
    ),
    Family(
        slug="plates",
        name="Base plates and steel",
        methods=(*plates.METHODS, *moving.METHODS),
    ),
    Family(
        slug="surfaces",
        name="Levels and shims",
        methods=(*levels.METHODS, *shims.METHODS),
    ),
    Family(
        slug="anchors",
        name="Threads and anchors",
        methods=(*threads.METHODS, *anchors.METHODS),
    ),
    Family(slug="concrete", name="Concrete", methods=concrete.METHODS),
    Family(slug="columns", name="Columns", methods=columns.METHODS),
    Family(
        slug="advice",
        name="Causes and remedies",
        methods=(*causes.METHODS, *advice.METHODS),
    ),
)


def methods() -> tuple[Method, ...]:
    """Give every computation, in order."""
    return tuple(method for family in FAMILIES for method in family.methods)


def find_method(slug: str) -> Method | None:
    """Give the computation at an address, None where there is none."""
    return next((method for method in methods() if method.slug == slug), None)


def beside(method: Method) -> tuple[Method | None, Method | None]:
    """Give the computations before and after one, None at the ends."""
    order: tuple[Method | None, ...] = (None, *methods(), None)
    at = order.index(method)
    return order[at - 1], order[at + 1]


OF_REMEDY = {
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


def method_of(remedy: Mapping[str, Any]) -> str:
    """Give the address of a remedy's computation, empty where it has none."""
    scope = remedy.get("scope")
    if scope is not None:
        return "move-steel" if scope == "steel" else "move-frame-line"
    return OF_REMEDY.get(str(remedy["remedy"]), "")
