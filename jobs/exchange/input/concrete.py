"""The concrete of a building document: what is asked of it, and what is known."""

from collections.abc import Sequence
from datetime import date

from core.quantities import parse_strength
from jobs.anchor_plan.values import ConcreteSpec, MaturitySpec
from jobs.exchange.input.concrete_format import (
    ConcreteMembers,
    CylinderMembers,
    ExpectedMembers,
    IntervalMembers,
    MaturityMembers,
    MaturityMethodMembers,
)
from jobs.exchange.input.json_reader import JsonReader
from jobs.exchange.input.members import read_members
from jobs.exchange.input.plausibility import MAX_STRENGTH, explain_history
from jobs.exchange.issues import IssueCode


def parse_concrete(reader: JsonReader | None) -> ConcreteSpec:
    """Parse `concrete`, with placeholders where anything of it was refused."""
    if reader is None:
        return ConcreteSpec()
    members = read_members(reader, ConcreteMembers)
    specified = members.get("specified_strength")
    sufficient = members.get("sufficient_strength")
    if "standard_cured" in members and specified is None:
        reader.child("standard_cured").add_issue(
            "Standard-cured tests are judged against the specified strength; add "
            "“specified_strength”.",
            IssueCode.CONFLICT,
        )
    if "maturity" in members and specified is None and sufficient is None:
        reader.child("maturity").add_issue(
            "A forecast needs the strength it is made for; add “specified_strength” or "
            "“sufficient_strength”.",
            IssueCode.CONFLICT,
        )
    placed_on = members.get("placed_on")
    maturity = (
        _parse_maturity(members["maturity"], placed_on)
        if "maturity" in members
        else None
    )
    return ConcreteSpec(
        specified_strength=specified,
        sufficient_strength=sufficient,
        placed_on=placed_on,
        standard_cured=tuple(
            item.read_quantity(parse_strength, above=0.0, at_most=MAX_STRENGTH)
            for item in members.get("standard_cured", ())
        ),
        maturity=maturity,
    )


def _parse_maturity(reader: JsonReader, placed_on: date | None) -> MaturitySpec:
    members = read_members(reader, MaturityMembers)
    check_maturity_method(reader, members)
    curve = parse_curve(reader, members.get("curve", ()), members)
    expected = members.get("expected")
    history = _parse_temperature_history(members.get("temperatures", ()))
    now = reader.collector.now
    hours = sum(each for each, _ in history)
    if now is not None and (reason := explain_history(hours, placed_on, now)):
        reader.child("temperatures").add_issue(reason, IssueCode.CONFLICT)
    return MaturitySpec(
        datum=members.get("datum"),
        activation=members.get("activation"),
        reference=members.get("reference"),
        curve=curve,
        temperatures=history,
        expected=(
            (0.0, 0.0, 0.0)
            if expected is None
            else parse_expected_temperatures(expected)
        ),
    )


def check_maturity_method(reader: JsonReader, members: MaturityMethodMembers) -> None:
    """Check that exactly one of the two ways to count maturity is given."""
    if not isinstance(reader.value, dict):
        return
    given = [
        name for name in MaturityMethodMembers.__annotations__ if name in reader.value
    ]
    if given not in (["datum"], ["activation", "reference"]):
        reader.add_issue(
            "Maturity is counted either from a “datum” temperature, or as equivalent "
            "age with “activation” and “reference”; here are "
            f"{', '.join(given) or 'none of them'}.",
            IssueCode.CONFLICT,
        )


def parse_curve(
    reader: JsonReader, items: Sequence[JsonReader], method: MaturityMethodMembers
) -> tuple[tuple[float, float], ...]:
    """Parse the cylinders of the mixture: maturity or age, and strength. [MPa]

    Parameters
    ----------
    reader : at the object that has the curve.
    items : its cylinders.
    method : how maturity is counted, which decides what a cylinder's age is called.
    """
    # With both methods given, which is an issue already, cylinders are read by
    # maturity.
    by_age = "datum" not in method and ("activation" in method or "reference" in method)
    needed, other = ("age", "maturity") if by_age else ("maturity", "age")
    before = reader.collector.count
    read = []
    for item in items:
        members = read_members(
            item, CylinderMembers, required=(needed,), excluded=(other,)
        )
        age = members.get("age") if by_age else members.get("maturity")
        if age is not None and "strength" in members:
            read.append((age, members["strength"]))
    complete = reader.collector.count == before and len(items) > 1
    if complete and len({age for age, _ in read}) < 2:
        reader.child("curve").add_issue(
            "All cylinders are of one age; a curve needs at least two ages."
        )
    return tuple(read)


def _parse_temperature_history(
    items: Sequence[JsonReader],
) -> tuple[tuple[float, float], ...]:
    """Parse the intervals since placing: hours, and their mean temperature. [°C]"""
    intervals = [read_members(item, IntervalMembers) for item in items]
    return tuple(
        (each["hours"], each["temperature"]) for each in intervals if len(each) == 2
    )


def parse_expected_temperatures(reader: JsonReader) -> tuple[float, float, float]:
    """Parse the temperatures expected from now on: low, likely and high. [°C]"""
    before = reader.collector.count
    members = read_members(reader, ExpectedMembers)
    low, likely, high = (
        members.get("low", 0.0),
        members.get("likely", 0.0),
        members.get("high", 0.0),
    )
    if reader.collector.count == before and not low <= likely <= high:
        reader.add_issue(
            "The likely temperature must be between the low and the high one.",
            IssueCode.CONFLICT,
        )
    return low, likely, high
