"""The concrete of an exchange document: what is asked of it, and what is known."""

from collections.abc import Mapping

from core.quantities import parse_strength, parse_temperature
from jobs.exchange.reader import Cursor
from jobs.plan.model import Concrete, Maturity

MEMBERS = (
    "specified_strength",
    "sufficient_strength",
    "placed_on",
    "standard_cured",
    "maturity",
)
EXPECTED = ("low", "likely", "high")

MOST_TESTS = 500
MOST_CYLINDERS = 200
MOST_INTERVALS = 5000
MOST_MATURITY = 1e6  # °C h or h; four years at 30 °C
MOST_HOURS = 1e5  # eleven years
MOST_ACTIVATION = 2e4  # K, thrice what any cement has

COLDEST, HOTTEST = -60.0, 100.0
"""Beyond these no concrete is placed or kept. [°C]"""


def read_concrete(cursor: Cursor | None) -> Concrete:
    """Read what is said of the concrete; a stand-in where anything is refused."""
    if cursor is None:
        return Concrete()
    members = cursor.members((), MEMBERS)
    strengths = {
        name: members[name].quantity(parse_strength, above=0.0)
        for name in ("specified_strength", "sufficient_strength")
        if name in members
    }
    tests = _tests(members["standard_cured"]) if "standard_cured" in members else ()
    if "standard_cured" in members and "specified_strength" not in members:
        members["standard_cured"].refuse(
            "Standard-cured tests are judged against the specified strength, which is "
            "not there; give “specified_strength” beside them."
        )
    if "maturity" in members and not strengths:
        members["maturity"].refuse(
            "A forecast needs the strength it is made for; give “specified_strength” "
            "or “sufficient_strength” beside it."
        )
    return Concrete(
        specified_strength=strengths.get("specified_strength"),
        sufficient_strength=strengths.get("sufficient_strength"),
        placed_on=members["placed_on"].date() if "placed_on" in members else None,
        standard_cured=tests,
        maturity=_maturity(members["maturity"]) if "maturity" in members else None,
    )


def _tests(cursor: Cursor) -> tuple[float, ...]:
    """Read strength tests in the order they were made. [MPa]"""
    return tuple(
        item.quantity(parse_strength, above=0.0) for item in cursor.items(1, MOST_TESTS)
    )


def _maturity(cursor: Cursor) -> Maturity:
    members = cursor.members(
        ("curve", "temperatures", "expected"), ("datum", "activation", "reference")
    )
    choose_method(cursor, members)
    activation = members.get("activation")
    return Maturity(
        datum=_temperature(members.get("datum")),
        activation=activation.plain(MOST_ACTIVATION) if activation else None,
        reference=_temperature(members.get("reference")),
        curve=read_curve(members["curve"], unit_of(members))
        if "curve" in members
        else (),
        temperatures=_history(members["temperatures"])
        if "temperatures" in members
        else (),
        expected=read_expected(members["expected"])
        if "expected" in members
        else (0.0, 0.0, 0.0),
    )


def choose_method(cursor: Cursor, members: Mapping[str, Cursor]) -> None:
    """Refuse what names neither or both of the two ways to count maturity."""
    if not isinstance(cursor.value, dict):
        return
    given = [n for n in ("datum", "activation", "reference") if n in members]
    if given not in (["datum"], ["activation", "reference"]):
        cursor.refuse(
            "Maturity is counted either from a “datum” temperature, or as equivalent "
            "age with “activation” and “reference”; here are "
            f"{', '.join(given) or 'none of them'}."
        )


def _temperature(cursor: Cursor | None) -> float | None:
    return None if cursor is None else read_celsius(cursor)


def read_celsius(cursor: Cursor) -> float:
    """Read a temperature concrete can have. [°C]"""
    before = len(cursor.refusals.errors)
    celsius = cursor.quantity(parse_temperature)
    wrong = not COLDEST <= celsius <= HOTTEST
    if wrong and len(cursor.refusals.errors) == before:
        cursor.refuse(
            "No concrete is this cold or this hot; look for a typing error. It has to "
            f"be from {COLDEST:g} to {HOTTEST:g} degC."
        )
    return celsius


def unit_of(members: Mapping[str, Cursor]) -> str:
    """What a cylinder's age is called: by its maturity, or by its equivalent age."""
    by_age = "datum" not in members and members.keys() & {"activation", "reference"}
    return "age" if by_age else "maturity"


def read_curve(cursor: Cursor, name: str) -> tuple[tuple[float, float], ...]:
    """Read the cylinders of the mixture: maturity or age, and strength. [MPa]"""
    errors = cursor.refusals.errors
    before = len(errors)
    read = []
    for item in cursor.items(2, MOST_CYLINDERS):
        members = item.members((name, "strength"))
        if len(members) == 2:
            strength = members["strength"].quantity(parse_strength, above=0.0)
            read.append((members[name].plain(MOST_MATURITY), strength))
    if len(errors) == before and len({maturity for maturity, _ in read}) < 2:
        cursor.refuse(
            "All cylinders are of one age; a curve needs two different ones at least."
        )
    return tuple(read)


def _history(cursor: Cursor) -> tuple[tuple[float, float], ...]:
    """Read the intervals since placing: hours, and their mean temperature. [°C]"""
    read = []
    for item in cursor.items(1, MOST_INTERVALS):
        members = item.members(("hours", "temperature"))
        if len(members) == 2:
            hours = members["hours"].plain(MOST_HOURS)
            read.append((hours, read_celsius(members["temperature"])))
    return tuple(read)


def read_expected(cursor: Cursor) -> tuple[float, float, float]:
    """Read what is expected from now on: low, likely and high. [°C]"""
    before = len(cursor.refusals.errors)
    members = cursor.members(EXPECTED)
    read = {name: read_celsius(member) for name, member in members.items()}
    low, likely, high = (read.get(name, 0.0) for name in EXPECTED)
    if len(cursor.refusals.errors) == before and not low <= likely <= high:
        cursor.refuse(
            "The likely temperature has to lie between the low and the high one."
        )
    return low, likely, high
