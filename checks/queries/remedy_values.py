"""The values of a remedy with their labels, as pages and reports list them."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from core.formatting import (
    QuantityFormatter,
    QuantityUnit,
    format_direction,
    format_percent,
    format_rotation,
)

HIDDEN_MEMBERS = frozenset(
    {
        "remedy",
        "approval",
        "reason",
        "cautions",
        "why_second",
        "rods",
        "checks",
        "follows",
        "unconfirmed",
        "plan_doubts",
    }
)
RATIO_MEMBERS = frozenset({"ratio", "required", "engaged"})
ANGLE_MEMBERS = frozenset({"turn", "lean"})
DIRECTION_MEMBERS = frozenset({"direction"})
COUNT_MEMBERS = frozenset({"shims_saved", "rod", "count"})
AXIS_WORDS = {"in": "inward"}
STRESS_WORDS = ("strength", "stress")
VALUE_LABELS = {
    "ordered_diameter": "hole diameter to order",
    "hole_diameter": "hole diameter, exact need",
    "open": "open",
    "hole": "holes to order",
    "exact": "holes, exact need",
    "axis": "axis",
    "length": "length to order",
    "plate": "plate",
    "clearance_left": "least left round a rod",
    "eccentricity_along": "rods off the column, along",
    "eccentricity_in": "rods off the column, inward",
    "shim": "shim",
    "stack": "plates",
    "residual": "left over after shimming",
    "thread_left": "thread left above the nut",
    "shift_along": "shift along the wall",
    "shift_in": "shift inward",
    "turn": "turn",
    "edge_left": "edge left",
    "edge_needed": "edge needed, AISC 360 Table J3.4",
    "lower_by": "lower by",
    "shims_saved": "shims saved",
    "shortfall": "below the highest pad",
    "deviation": "deviation",
    "engaged": "of the nut engaged",
    "ratio": "of the specified strength",
    "required": "needed",
    "move": "move",
}


@dataclass(frozen=True, slots=True)
class LabelledValue:
    """One value of a remedy: a length in mm, a quantity in its unit, or text."""

    label: str
    mm: float | None = None
    text: str = ""
    value: float | None = None
    unit: QuantityUnit = ""

    def write(self, formatter: QuantityFormatter) -> str:
        """Write the value in the notation of a formatter."""
        if self.unit:
            return formatter.format_quantity(self.value, self.unit)
        return self.text or formatter.format_fine(self.mm)


def list_values(remedy: Mapping[str, object], prefix: str = "") -> list[LabelledValue]:
    """List the values of a remedy, those with a label of their own first."""
    return list(_iter_values(remedy, prefix))


def _iter_values(values: Mapping[str, object], prefix: str) -> Iterator[LabelledValue]:
    # PostgreSQL's jsonb does not keep the order in which members were written.
    known = [name for name in VALUE_LABELS if name in values]
    for name in [*known, *(name for name in values if name not in VALUE_LABELS)]:
        value = values[name]
        if value is None or (not prefix and name in HIDDEN_MEMBERS):
            continue
        label = f"{prefix}{VALUE_LABELS.get(name, name.replace('_', ' '))}"
        yield from _iter_value(name, label, value)


def _iter_value(name: str, label: str, value: object) -> Iterator[LabelledValue]:
    if isinstance(value, Mapping):
        yield from _iter_values(value, f"{label}: ")
    elif isinstance(value, list) and value and isinstance(value[0], Mapping):
        for row in value:
            named = row.get("corner") or row.get("mark") or row.get("rod") or ""
            rest = {key: row[key] for key in row if key not in ("corner", "rod")}
            if named == row.get("mark"):
                del rest["mark"]
            yield from _iter_values(rest, f"{label} {named}: ")
    elif isinstance(value, list):
        if value:
            yield LabelledValue(label, text=", ".join(str(item) for item in value))
    elif isinstance(value, bool):
        yield LabelledValue(label, text="yes" if value else "no")
    elif isinstance(value, int | float):
        yield _format_number(name, label, float(value))
    elif name == "axis":
        yield LabelledValue(label, text=AXIS_WORDS.get(str(value), str(value)))
    else:
        yield LabelledValue(label, text=str(value))


def _format_number(name: str, label: str, value: float) -> LabelledValue:
    if name in RATIO_MEMBERS or name.endswith("_ratio"):
        return LabelledValue(label, text=format_percent(value))
    if name in ANGLE_MEMBERS or name.endswith("_rad"):
        return LabelledValue(label, text=format_rotation(value))
    if name in DIRECTION_MEMBERS:
        return LabelledValue(label, text=format_direction(value))
    if name in COUNT_MEMBERS:
        return LabelledValue(label, text=f"{value:.0f}")
    if name.endswith("_mpa") or any(word in name for word in STRESS_WORDS):
        return LabelledValue(label, value=value, unit="MPa")
    if name.endswith("_n"):
        return LabelledValue(label, value=value, unit="N")
    return LabelledValue(label, mm=value)
