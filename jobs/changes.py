"""What differs between two issues of a plan, in words for the page."""

from collections.abc import Iterator
from dataclasses import dataclass, fields
from math import degrees
from typing import Literal

from core.units import LengthStyle, format_length
from jobs.drawing import length_style
from jobs.plan.model import Detail, Instrument, Maturity, Plan, Position

SAME = 1e-6  # mm, rad or MPa: differences below this are of writing, not of the plan
FINEST = 64  # a plan is rarely drawn finer than a sixty-fourth

What = Literal["added", "removed", "moved", "changed"]
Value = float | str
PLACE = frozenset({"x", "y", "wall", "along", "turn"})  # changed alone: it was moved


@dataclass(frozen=True, slots=True)
class Difference:
    """One figure of a thing, before and after; empty where there was none."""

    name: str
    before: str
    after: str


@dataclass(frozen=True, slots=True)
class Change:
    """One thing on the plan that is not as it was: `corner SW`, `position B2`."""

    subject: str
    name: str
    what: What
    differences: tuple[Difference, ...] = ()


Facts = dict[tuple[str, str], dict[str, Value]]


def plan_changes(old: Plan, new: Plan) -> tuple[Change, ...]:
    """List what was added, removed, moved and changed, in the order of the plan.

    Lengths are written in the units of the new plan's people.
    """
    before, after = dict(_facts(old)), dict(_facts(new))
    style = length_style(new)
    found = [Change(*key, "removed") for key in before if key not in after]
    for key, facts in after.items():
        if key not in before:
            found.append(Change(*key, "added"))
        elif differences := _differences(before[key], facts, style):
            placed = {difference.name for difference in differences} <= PLACE
            found.append(Change(*key, "moved" if placed else "changed", differences))
    return tuple(found)


def _differences(
    before: dict[str, Value], after: dict[str, Value], style: LengthStyle
) -> tuple[Difference, ...]:
    names = [*after, *(name for name in before if name not in after)]
    return tuple(
        Difference(name, *_both(name, before.get(name), after.get(name), style))
        for name in names
        if not _same(before.get(name), after.get(name))
    )


def _same(before: Value | None, after: Value | None) -> bool:
    if isinstance(before, float) and isinstance(after, float):
        return abs(before - after) <= SAME
    return before == after


def _both(
    name: str, before: Value | None, after: Value | None, style: LengthStyle
) -> tuple[str, str]:
    """Write two values so that they can be told apart."""
    texts = _text(name, before, style), _text(name, after, style)
    if texts[0] == texts[1]:
        return _finely(before), _finely(after)
    return texts


def _text(name: str, value: Value | None, style: LengthStyle) -> str:
    if value is None or isinstance(value, str):
        return value or ""
    if name == "turn":
        return f"{degrees(value):.6g}°"
    if name.endswith("strength"):
        return f"{value:.4g} MPa"
    return format_length(value, style, FINEST)


def _finely(value: Value | None) -> str:
    return f"{value:.6f} mm" if isinstance(value, float) else str(value or "")


def _facts(plan: Plan) -> Iterator[tuple[tuple[str, str], dict[str, Value]]]:
    yield ("building", ""), {"name": plan.name}
    for corner in plan.outline:
        yield ("corner", corner.name), {"x": corner.x, "y": corner.y}
    for diagonal in plan.diagonals:
        yield ("diagonal", " to ".join(diagonal)), {}
    for position in plan.positions:
        yield ("position", position.mark), _position(position)
    for name, detail in plan.details.items():
        yield ("detail", name), dict(_detail(detail))
    if plan.notch is not None:
        notch: dict[str, Value] = {
            "width": plan.notch.width,
            "depth": plan.notch.depth,
        }
        yield ("notch", ""), notch
    yield ("tolerances", ""), _tolerances(plan)
    yield ("concrete", ""), _concrete(plan)
    shims = ", ".join(length.text for length in plan.shim_thicknesses)
    yield ("shims", ""), {"thicknesses": shims}
    for name, instrument in plan.instruments.items():
        yield ("instrument", name), _instrument(instrument)


def _position(position: Position) -> dict[str, Value]:
    facts: dict[str, Value] = {"detail": position.detail}
    if position.wall is not None:
        facts["wall"] = " to ".join(position.wall)
    for name in ("along", "x", "y", "turn"):
        value = getattr(position, name)
        if value is not None:
            facts[name] = float(value)
    return facts


def _detail(detail: Detail) -> Iterator[tuple[str, Value]]:
    yield "reference line", detail.reference
    plate = detail.plate
    if plate is not None:
        yield "hole", plate.hole_diameter
        if plate.thickness is not None:
            yield "plate thickness", plate.thickness
        if plate.edge_distance is not None:
            yield "edge distance", plate.edge_distance
    for rod in detail.rods:
        yield f"rod {rod.number} in", rod.inward
        yield f"rod {rod.number} along", rod.along
        yield f"rod {rod.number} diameter", rod.diameter
        if rod.projection is not None:
            yield f"rod {rod.number} projection", rod.projection


def _instrument(instrument: Instrument) -> dict[str, Value]:
    given = {each.name: getattr(instrument, each.name) for each in fields(instrument)}
    return {
        name.replace("_", " "): str(value)
        for name, value in given.items()
        if value is not None
    }


def _tolerances(plan: Plan) -> dict[str, Value]:
    tolerances = plan.tolerances
    facts: dict[str, Value] = {"basis": tolerances.basis}
    if tolerances.guarded:
        facts["acceptance"] = "guarded"
    for key, value in tolerances.overrides.items():
        ratio = key in ("strength_ratio", "plumb")
        facts[key] = f"{value:.6g}" if ratio else float(value)
    return facts


def _concrete(plan: Plan) -> dict[str, Value]:
    concrete = plan.concrete
    facts: dict[str, Value] = {}
    if concrete.specified_strength is not None:
        facts["specified strength"] = concrete.specified_strength
    if concrete.sufficient_strength is not None:
        facts["sufficient strength"] = concrete.sufficient_strength
    if concrete.placed_on is not None:
        facts["placed on"] = concrete.placed_on.isoformat()
    if concrete.standard_cured:
        tests = ", ".join(f"{test:.2f}" for test in concrete.standard_cured)
        facts["standard-cured tests"] = f"{tests} MPa"
    if concrete.maturity is not None:
        facts |= _maturity(concrete.maturity)
    return facts


def _maturity(known: Maturity) -> dict[str, Value]:
    hours = sum(each for each, _ in known.temperatures)
    counted = (
        f"from {known.datum:g} °C"
        if known.datum is not None
        else f"activation {known.activation:g} K, reference {known.reference:g} °C"
    )
    cylinders = "; ".join(f"{m:g}: {s:.2f} MPa" for m, s in known.curve)
    spells = "; ".join(f"{h:g} h at {t:.1f} °C" for h, t in known.temperatures)
    return {
        "maturity": counted,
        "strength over maturity": cylinders,
        "temperatures since placing": f"{hours:g} h: {spells}",
        "temperatures expected": " / ".join(f"{t:.1f} °C" for t in known.expected),
    }
