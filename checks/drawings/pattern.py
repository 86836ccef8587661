"""Drawing of one position: rods, the plate's holes at their best fit, and misses.

To scale in the position's own axes, seen from outside the wall looking in:

        in ^
           |  (o)   (o)      hole of the plate at its best fit around each rod
           |  (o)   (o)
        ---+------------> along      the steel line; the reference line goes up

Below it each rod has a target of its own, many times larger: the planned centre in
the middle, the tolerance about it, the clearance of the hole, and the rod as built.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from checks.drawings.canvas import fit_viewport
from checks.drawings.holes import (
    DrawnHole,
    PlatePlacement,
    draw_holes,
    draw_plate,
    find_slot_remedy,
    place_holes,
)
from checks.drawings.legend import LegendEntry, layout_entries, list_verdict_entries
from checks.drawings.result_view import ResultView
from checks.drawings.targets import RodTarget, place_targets
from core.formatting import DisplayStyle, QuantityFormatter, get_default_style
from core.svg import FloatArray, Viewport, path_data
from core.vocabulary import Verdict
from jobs.anchor_plan.values import Detail, Plan, Position
from jobs.exchange.result.document import ResultDocument, RodResult
from jobs.exchange.result.findings import SlotResult

WIDTH_UNITS = 480.0
MARGIN_UNITS = 62.0
MIN_LABEL_SPACING_UNITS = 15.0
GRID_MM = {"imperial": 25.4, "decimal": 25.4, "metric": 20.0}


@dataclass(frozen=True, slots=True, kw_only=True)
class DrawnRod:
    """A rod as planned, and as built where it is determined."""

    number: int
    x: float
    y: float
    radius: float
    verdict: Verdict
    title: str
    built: tuple[float, float] | None
    label_x: float
    label_y: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Ordinate:
    """A planned distance from the steel line or the reference line."""

    mm: float
    x: float
    y: float
    tick: str


@dataclass(frozen=True, slots=True, kw_only=True)
class DrawnAxis:
    """The steel line or the reference line, with its name beside it."""

    path: str
    name: str
    x: float
    y: float


@dataclass(frozen=True, slots=True, kw_only=True)
class PatternDrawing:
    """Values that the template writes. [drawing units]"""

    size: str
    width: float
    height: float
    sheet_height: float
    title: str
    description: str
    grid: float
    grid_x: float
    grid_y: float
    steel_line: DrawnAxis
    reference_line: DrawnAxis
    plate: str
    rods: tuple[DrawnRod, ...]
    holes: tuple[DrawnHole, ...]
    setbacks: tuple[Ordinate, ...]
    offsets: tuple[Ordinate, ...]
    targets: tuple[RodTarget, ...]
    target_note: str
    target_note_y: float
    legend: tuple[LegendEntry, ...]


def draw_pattern(
    plan: Plan,
    mark: str,
    result: ResultDocument | None = None,
    *,
    units: DisplayStyle | None = None,
) -> PatternDrawing:
    """Draw one position of a plan.

    Parameters
    ----------
    plan : Plan
        The anchor plan.
    mark : str
        The position's mark.
    result : ResultDocument, optional
        Without one the planned pattern alone is drawn.
    units : DisplayStyle, optional
        Notation of lengths; that of the plan's own unit when left out.
    """
    position = next(place for place in plan.positions if place.mark == mark)
    detail = plan.details[position.detail]
    results = ResultView(result)
    lengths = QuantityFormatter(units or get_default_style(plan.length_unit))
    rods = results.get_rods(mark)
    planned = np.array([(rod.along, rod.inward) for rod in detail.rods])
    built = get_built_rods(rods, len(planned))
    slots, placement = _find_slots_and_plate(results, mark)
    holes = place_holes(planned, placement)
    view, height = _fit_pattern(planned, built, detail)
    aims, bottom, note = place_targets(
        detail, mark, results, built, holes, lengths, top=height, width=WIDTH_UNITS
    )
    legend, end = layout_entries(
        _list_legend(detail, results, mark, built, bool(slots)), WIDTH_UNITS, bottom
    )
    grid_mm = GRID_MM[lengths.style]
    zero = view.points(np.zeros((1, 2)))[0]
    return PatternDrawing(
        size="s",
        width=WIDTH_UNITS,
        height=round(end + 4, 1),
        sheet_height=round(height, 1),
        title=f"Position {mark}",
        description=_describe_drawing(mark, results),
        grid=round(grid_mm * view.scale, 3),
        grid_x=round(float(zero[0]), 1),
        grid_y=round(float(zero[1]), 1),
        steel_line=_draw_steel_line(position, zero),
        reference_line=_draw_reference_line(position, detail, zero, height),
        plate=draw_plate(planned, detail, placement, view),
        rods=_draw_rods(view, detail, rods, planned, built),
        holes=draw_holes(view, detail, holes, built, placement, slots),
        setbacks=_list_setbacks(view, planned),
        offsets=_list_offsets(view, planned, height),
        targets=aims,
        target_note=note,
        target_note_y=round(height + 6, 1),
        legend=legend,
    )


def _find_slots_and_plate(
    results: ResultView, mark: str
) -> tuple[Mapping[int, SlotResult], PlatePlacement | None]:
    """Return the proposed slots by rod, and the placement of the plate.

    The plate is drawn where the slots are shortest, or else where it fits best
    within the line tolerance and the turn of a column.
    """
    remedy = find_slot_remedy(results, mark)
    slots = {slot["rod"]: slot for slot in remedy.get("slots", ())} if remedy else {}
    best_fit = PlatePlacement.from_result(results.get_plate_fit(mark))
    return slots, PlatePlacement.from_result(remedy) or best_fit


def get_built_rods(rods: Sequence[RodResult], count: int) -> FloatArray:
    """Return the rods as built, along and in; NaN where not determined.

    Returns
    -------
    array, shape (count, 2)
        [mm]
    """
    built = np.full((count, 2), np.nan)
    for rod in rods:
        along, inward = rod.get("along"), rod.get("in")
        if along is not None and inward is not None:
            built[rod["rod"] - 1] = along, inward
    return built


def _fit_pattern(
    planned: FloatArray, built: FloatArray, detail: Detail
) -> tuple[Viewport, float]:
    edge = detail.plate.edge_distance if detail.plate else None
    reach = max(edge or 0.0, 1.5 * max(rod.diameter for rod in detail.rods))
    known = built[~np.isnan(built).any(axis=1)]
    points = np.concatenate(
        [planned - reach, planned + reach, known - reach, known + reach, [[0, 0]]]
    )
    return fit_viewport(points, WIDTH_UNITS, MARGIN_UNITS, 0.95 * WIDTH_UNITS)


def _draw_steel_line(position: Position, zero: FloatArray) -> DrawnAxis:
    return DrawnAxis(
        path=path_data(np.array([[0, zero[1]], [WIDTH_UNITS, zero[1]]])),
        name="steel line" if position.wall else "along axis of the point",
        x=6.0,
        y=round(float(zero[1]) + 12, 1),
    )


def _draw_reference_line(
    position: Position, detail: Detail, zero: FloatArray, height: float
) -> DrawnAxis:
    return DrawnAxis(
        path=path_data(np.array([[zero[0], 18], [zero[0], height - 8]])),
        name=detail.reference if position.wall else "in axis",
        x=round(float(zero[0]), 1),
        y=10.0,
    )


def _draw_rods(
    view: Viewport,
    detail: Detail,
    rods: Sequence[RodResult],
    planned: FloatArray,
    built: FloatArray,
) -> tuple[DrawnRod, ...]:
    verdicts = {rod["rod"]: Verdict(rod["verdict"]) for rod in rods}
    at = view.points(planned)
    there = view.points(built)
    middle = at.mean(axis=0)
    drawn = []
    for index, rod in enumerate(detail.rods):
        verdict = verdicts.get(rod.number, Verdict.UNMEASURED)
        radius = rod.diameter / 2 * view.scale
        away = at[index] - middle
        side = 1.0 if away[0] >= 0 else -1.0
        known = not np.isnan(there[index]).any()
        place = (round(float(there[index][0]), 2), round(float(there[index][1]), 2))
        drawn.append(
            DrawnRod(
                number=rod.number,
                x=round(float(at[index][0]), 2),
                y=round(float(at[index][1]), 2),
                radius=round(radius, 2),
                verdict=verdict,
                title=f"Rod {rod.number}: {verdict.label}",
                built=place if known else None,
                label_x=round(float(at[index][0] + side * (radius + 22)), 1),
                label_y=round(float(at[index][1]), 1),
            )
        )
    return tuple(drawn)


def _list_setbacks(view: Viewport, planned: FloatArray) -> tuple[Ordinate, ...]:
    """List the planned distances from the steel line, up the left edge."""
    marks = []
    for inward in _select_spaced(np.unique(planned[:, 1].round(6)), view.scale):
        y = float(view.points(np.array([[0.0, inward]]))[0][1])
        marks.append(
            Ordinate(mm=float(inward), x=6.0, y=round(y, 1), tick=f"M58 {y:.1f}h18")
        )
    return tuple(marks)


def _list_offsets(
    view: Viewport, planned: FloatArray, height: float
) -> tuple[Ordinate, ...]:
    """List the planned distances from the reference line, along the top."""
    marks = []
    for along in _select_spaced(np.unique(planned[:, 0].round(6)), view.scale / 3):
        x = float(view.points(np.array([[along, 0.0]]))[0][0])
        marks.append(
            Ordinate(mm=float(along), x=round(x, 1), y=34.0, tick=f"M{x:.1f} 44v14")
        )
    return tuple(marks)


def _select_spaced(values: FloatArray, scale: float) -> list[float]:
    """Select the values whose labels do not overlap, the first always."""
    kept: list[float] = []
    for value in values:
        if not kept or (value - kept[-1]) * scale >= MIN_LABEL_SPACING_UNITS:
            kept.append(float(value))
    return kept


def _list_legend(
    detail: Detail,
    results: ResultView,
    mark: str,
    built: FloatArray,
    slotted: bool,
) -> list[LegendEntry]:
    known = bool((~np.isnan(built)).any())
    entries = list_verdict_entries(rod["verdict"] for rod in results.get_rods(mark))
    entries.append(LegendEntry(line_class="rod-planned", text="rod as planned"))
    if known:
        entries.append(LegendEntry(line_class="rod-built-line", text="rod as built"))
    if detail.plate:
        fitted = results.get_plate_fit(mark) is not None
        text = "hole, plate at its best fit" if fitted else "hole"
        entries.append(LegendEntry(line_class="d-hole", text=text))
    if known:
        entries.append(LegendEntry(line_class="tolerance", text="tolerance"))
    if known and detail.plate:
        entries.append(LegendEntry(line_class="room", text="rod centre must be inside"))
    if slotted:
        entries.append(LegendEntry(line_class="slot", text="proposed slot"))
    return entries


def _describe_drawing(mark: str, results: ResultView) -> str:
    entry = results.positions.get(mark)
    if not entry or not entry["rods"]:
        return f"Rods of {mark} as planned; not measured yet."
    verdicts = ", ".join(
        f"rod {rod['rod']} {Verdict(rod['verdict']).label}" for rod in entry["rods"]
    )
    plate_fit = results.get_plate_fit(mark)
    if not plate_fit:
        return f"{verdicts}."
    fits = "fits over the rods" if plate_fit["fits"] else "does not fit over the rods"
    return f"{verdicts}. The plate {fits}."
