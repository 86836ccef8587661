"""The concrete of an exchange document: what is asked of it, and what is known."""

from collections.abc import Mapping

from core.quantities import parse_strength, parse_temperature
from jobs.anchor_plan.values import ConcreteSpec, MaturitySpec
from jobs.exchange.input.json_reader import JsonReader

CONCRETE_MEMBERS = (
    "specified_strength",
    "sufficient_strength",
    "placed_on",
    "standard_cured",
    "maturity",
)
EXPECTED_MEMBERS = ("low", "likely", "high")

MAX_STRENGTH_TESTS = 500
MAX_CYLINDERS = 200
MAX_INTERVALS = 5000
MAX_MATURITY_H = 1e6  # °C h or h; four years at 30 °C
MAX_ELAPSED_H = 1e5  # eleven years
MAX_ACTIVATION_K = 2e4  # K, thrice what any cement has

MIN_CONCRETE_DEGC, MAX_CONCRETE_DEGC = -60.0, 100.0
"""Beyond these no concrete is placed or kept. [°C]"""


def parse_concrete(cursor: JsonReader | None) -> ConcreteSpec:
    """Read what is said of the concrete; a stand-in where anything is refused."""
    if cursor is None:
        return ConcreteSpec()
    members = cursor.read_object((), CONCRETE_MEMBERS)
    strengths = {
        name: members[name].read_quantity(parse_strength, above=0.0)
        for name in ("specified_strength", "sufficient_strength")
        if name in members
    }
    tests = (
        _parse_tests(members["standard_cured"]) if "standard_cured" in members else ()
    )
    if "standard_cured" in members and "specified_strength" not in members:
        members["standard_cured"].add_issue(
            "Standard-cured tests are judged against the specified strength, which is "
            "not there; give “specified_strength” beside them."
        )
    if "maturity" in members and not strengths:
        members["maturity"].add_issue(
            "A forecast needs the strength it is made for; give “specified_strength” "
            "or “sufficient_strength” beside it."
        )
    return ConcreteSpec(
        specified_strength=strengths.get("specified_strength"),
        sufficient_strength=strengths.get("sufficient_strength"),
        placed_on=members["placed_on"].read_date() if "placed_on" in members else None,
        standard_cured=tests,
        maturity=_parse_maturity(members["maturity"])
        if "maturity" in members
        else None,
    )


def _parse_tests(cursor: JsonReader) -> tuple[float, ...]:
    """Read strength tests in the order they were made. [MPa]"""
    return tuple(
        item.read_quantity(parse_strength, above=0.0)
        for item in cursor.read_list(1, MAX_STRENGTH_TESTS)
    )


def _parse_maturity(cursor: JsonReader) -> MaturitySpec:
    members = cursor.read_object(
        ("curve", "temperatures", "expected"), ("datum", "activation", "reference")
    )
    check_maturity_method(cursor, members)
    activation = members.get("activation")
    return MaturitySpec(
        datum=_parse_optional_temperature(members.get("datum")),
        activation=activation.read_positive_number(MAX_ACTIVATION_K)
        if activation
        else None,
        reference=_parse_optional_temperature(members.get("reference")),
        curve=parse_curve(members["curve"], curve_member(members))
        if "curve" in members
        else (),
        temperatures=_parse_temperature_history(members["temperatures"])
        if "temperatures" in members
        else (),
        expected=parse_expected_temperatures(members["expected"])
        if "expected" in members
        else (0.0, 0.0, 0.0),
    )


def check_maturity_method(
    cursor: JsonReader, members: Mapping[str, JsonReader]
) -> None:
    """Refuse what names neither or both of the two ways to count maturity."""
    if not isinstance(cursor.value, dict):
        return
    given = [n for n in ("datum", "activation", "reference") if n in members]
    if given not in (["datum"], ["activation", "reference"]):
        cursor.add_issue(
            "Maturity is counted either from a “datum” temperature, or as equivalent "
            "age with “activation” and “reference”; here are "
            f"{', '.join(given) or 'none of them'}."
        )


def _parse_optional_temperature(cursor: JsonReader | None) -> float | None:
    return None if cursor is None else parse_concrete_temperature(cursor)


def parse_concrete_temperature(cursor: JsonReader) -> float:
    """Read a temperature concrete can have. [°C]"""
    before = len(cursor.collector.issues)
    celsius = cursor.read_quantity(parse_temperature)
    wrong = not MIN_CONCRETE_DEGC <= celsius <= MAX_CONCRETE_DEGC
    if wrong and len(cursor.collector.issues) == before:
        cursor.add_issue(
            "No concrete is this cold or this hot; look for a typing error. It has to "
            f"be from {MIN_CONCRETE_DEGC:g} to {MAX_CONCRETE_DEGC:g} degC."
        )
    return celsius


def curve_member(members: Mapping[str, JsonReader]) -> str:
    """What a cylinder's age is called: by its maturity, or by its equivalent age."""
    by_age = "datum" not in members and members.keys() & {"activation", "reference"}
    return "age" if by_age else "maturity"


def parse_curve(cursor: JsonReader, name: str) -> tuple[tuple[float, float], ...]:
    """Read the cylinders of the mixture: maturity or age, and strength. [MPa]"""
    errors = cursor.collector.issues
    before = len(errors)
    read = []
    for item in cursor.read_list(2, MAX_CYLINDERS):
        members = item.read_object((name, "strength"))
        if len(members) == 2:
            strength = members["strength"].read_quantity(parse_strength, above=0.0)
            read.append((members[name].read_positive_number(MAX_MATURITY_H), strength))
    if len(errors) == before and len({maturity for maturity, _ in read}) < 2:
        cursor.add_issue(
            "All cylinders are of one age; a curve needs two different ones at least."
        )
    return tuple(read)


def _parse_temperature_history(cursor: JsonReader) -> tuple[tuple[float, float], ...]:
    """Read the intervals since placing: hours, and their mean temperature. [°C]"""
    read = []
    for item in cursor.read_list(1, MAX_INTERVALS):
        members = item.read_object(("hours", "temperature"))
        if len(members) == 2:
            hours = members["hours"].read_positive_number(MAX_ELAPSED_H)
            read.append((hours, parse_concrete_temperature(members["temperature"])))
    return tuple(read)


def parse_expected_temperatures(cursor: JsonReader) -> tuple[float, float, float]:
    """Read what is expected from now on: low, likely and high. [°C]"""
    before = len(cursor.collector.issues)
    members = cursor.read_object(EXPECTED_MEMBERS)
    read = {
        name: parse_concrete_temperature(member) for name, member in members.items()
    }
    low, likely, high = (read.get(name, 0.0) for name in EXPECTED_MEMBERS)
    if len(cursor.collector.issues) == before and not low <= likely <= high:
        cursor.add_issue(
            "The likely temperature has to lie between the low and the high one."
        )
    return low, likely, high
