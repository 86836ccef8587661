"""Differences between two revisions of a plan, formatted for the page."""

from collections.abc import Iterator
from dataclasses import dataclass, fields
from math import degrees
from typing import Literal

from core.units import LengthStyle, format_length
from jobs.anchor_plan.values import Detail, InstrumentSpec, MaturitySpec, Plan, Position
from jobs.plans.plan_drawing import plan_length_style

SAME_VALUE_TOLERANCE = 1e-6  # mm, rad or MPa: below this only the notation differs
FINEST_FRACTION = 64  # 1/64 in: plans are rarely finer

ChangeKind = Literal["added", "removed", "moved", "changed"]
FactValue = float | str
LOCATION_FACTS = frozenset(
    {"x", "y", "wall", "along", "turn"}
)  # if only these changed, the thing was moved


@dataclass(frozen=True, slots=True)
class ValueDifference:
    """One value before and after; empty where there was none."""

    name: str
    before: str
    after: str


@dataclass(frozen=True, slots=True)
class PlanChange:
    """A change of one thing on the plan, such as `corner SW` or `position B2`."""

    subject: str
    name: str
    what: ChangeKind
    differences: tuple[ValueDifference, ...] = ()


def compare_plans(old: Plan, new: Plan) -> tuple[PlanChange, ...]:
    """List what was added, removed, moved and changed, in the order of the plan.

    Lengths are formatted in the units of the new plan.
    """
    before, after = dict(_plan_facts(old)), dict(_plan_facts(new))
    style = plan_length_style(new)
    found = [PlanChange(*key, "removed") for key in before if key not in after]
    for key, facts in after.items():
        if key not in before:
            found.append(PlanChange(*key, "added"))
        elif differences := _compare_facts(before[key], facts, style):
            placed = {difference.name for difference in differences} <= LOCATION_FACTS
            found.append(
                PlanChange(*key, "moved" if placed else "changed", differences)
            )
    return tuple(found)


def _compare_facts(
    before: dict[str, FactValue], after: dict[str, FactValue], style: LengthStyle
) -> tuple[ValueDifference, ...]:
    names = [*after, *(name for name in before if name not in after)]
    return tuple(
        ValueDifference(
            name, *_format_pair(name, before.get(name), after.get(name), style)
        )
        for name in names
        if not _is_same_value(before.get(name), after.get(name))
    )


def _is_same_value(before: FactValue | None, after: FactValue | None) -> bool:
    if isinstance(before, float) and isinstance(after, float):
        return abs(before - after) <= SAME_VALUE_TOLERANCE
    return before == after


def _format_pair(
    name: str, before: FactValue | None, after: FactValue | None, style: LengthStyle
) -> tuple[str, str]:
    """Format two different values so that their texts differ."""
    texts = _format_value(name, before, style), _format_value(name, after, style)
    # A change finer than the usual fraction must not read "12' to 12'".
    if texts[0] == texts[1]:
        return _format_exactly(before), _format_exactly(after)
    return texts


def _format_value(name: str, value: FactValue | None, style: LengthStyle) -> str:
    if value is None or isinstance(value, str):
        return value or ""
    if name in ("turn", "column_turn"):
        return f"{degrees(value):.6g}°"
    if name.endswith("strength"):
        return f"{value:.4g} MPa"
    return format_length(value, style, FINEST_FRACTION)


def _format_exactly(value: FactValue | None) -> str:
    return f"{value:.6f} mm" if isinstance(value, float) else str(value or "")


def _plan_facts(plan: Plan) -> Iterator[tuple[tuple[str, str], dict[str, FactValue]]]:
    yield ("building", ""), {"name": plan.name}
    for corner in plan.outline:
        yield ("corner", corner.name), {"x": corner.x, "y": corner.y}
    for diagonal in plan.diagonals:
        yield ("diagonal", " to ".join(diagonal)), {}
    for position in plan.positions:
        yield ("position", position.mark), _position_facts(position)
    for name, detail in plan.details.items():
        yield ("detail", name), dict(_detail_facts(detail))
    if plan.notch is not None:
        notch: dict[str, FactValue] = {
            "width": plan.notch.width,
            "depth": plan.notch.depth,
        }
        yield ("notch", ""), notch
    yield ("tolerances", ""), _tolerance_facts(plan)
    yield ("concrete", ""), _concrete_facts(plan)
    shims = ", ".join(length.text for length in plan.shim_thicknesses)
    yield ("shims", ""), {"thicknesses": shims}
    for name, instrument in plan.instruments.items():
        yield ("instrument", name), _instrument_facts(instrument)


def _position_facts(position: Position) -> dict[str, FactValue]:
    facts: dict[str, FactValue] = {"detail": position.detail}
    if position.wall is not None:
        facts["wall"] = " to ".join(position.wall)
    for name in ("along", "x", "y", "turn"):
        value = getattr(position, name)
        if value is not None:
            facts[name] = float(value)
    return facts


def _detail_facts(detail: Detail) -> Iterator[tuple[str, FactValue]]:
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


def _instrument_facts(instrument: InstrumentSpec) -> dict[str, FactValue]:
    given = {each.name: getattr(instrument, each.name) for each in fields(instrument)}
    return {
        name.replace("_", " "): str(value)
        for name, value in given.items()
        if value is not None
    }


def _tolerance_facts(plan: Plan) -> dict[str, FactValue]:
    tolerances = plan.tolerances
    facts: dict[str, FactValue] = {"basis": tolerances.basis}
    if tolerances.guarded:
        facts["acceptance"] = "guarded"
    for key, value in tolerances.overrides.items():
        ratio = key in ("strength_ratio", "plumb")
        facts[key] = f"{value:.6g}" if ratio else float(value)
    return facts


def _concrete_facts(plan: Plan) -> dict[str, FactValue]:
    concrete = plan.concrete
    facts: dict[str, FactValue] = {}
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
        facts |= _maturity_facts(concrete.maturity)
    return facts


def _maturity_facts(maturity: MaturitySpec) -> dict[str, FactValue]:
    hours = sum(each for each, _ in maturity.temperatures)
    counted = (
        f"from {maturity.datum:g} °C"
        if maturity.datum is not None
        else f"activation {maturity.activation:g} K, "
        f"reference {maturity.reference:g} °C"
    )
    cylinders = "; ".join(f"{m:g}: {s:.2f} MPa" for m, s in maturity.curve)
    spells = "; ".join(f"{h:g} h at {t:.1f} °C" for h, t in maturity.temperatures)
    return {
        "maturity": counted,
        "strength over maturity": cylinders,
        "temperatures since placing": f"{hours:g} h: {spells}",
        "temperatures expected": " / ".join(f"{t:.1f} °C" for t in maturity.expected),
    }
