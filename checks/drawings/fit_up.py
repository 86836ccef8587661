"""Drawing of the fit-up: where each plate stands when the steel goes together.

The plan with its bays and frames, every plate as a square about its place: dashed as
planned, filled where it stands. The worst bay or frame is marked with the length that
it lacks, and a plate to be opened with its hole::

          N3 --- N2 --- N1        squares are of one size, not to scale;
           |      |      |        shifts are drawn `shift_factor` and turns
          S1 ==== S2 --- S3       `TURN_FACTOR` times as large as they are
"""

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace

import numpy as np

from checks.drawings.canvas import bounding_box, get_size_class, round_down, text_width
from checks.drawings.legend import LegendEntry, layout_entries
from checks.drawings.plan_labels import PlanLabel, label_corners, label_position
from checks.drawings.plan_positions import get_pattern_centre
from checks.drawings.plan_sheet import PlanSheet, layout_sheet
from checks.drawings.result_view import ResultView
from checks.evaluation.fit_up import MISFIT_SLACK_MM
from core.formatting import TIMES, DisplayStyle
from core.svg import FloatArray, path_data, polygon_points
from core.vocabulary import Verdict
from jobs.anchor_plan.geometry import outline_points, position_axes
from jobs.anchor_plan.neighbours import NeighbourPair, find_bays, find_spans
from jobs.anchor_plan.values import Plan, Position
from jobs.exchange.result.fit_up import FitUpElementResult, FitUpResult

PLATE_REACH_UNITS = 7.0  # from the middle of a plate to its edge
SHIFT_AT_LIMIT_UNITS = 12.0  # a plate at the limit of its line is drawn this far off
TURN_FACTOR = 20
DEFAULT_LINE_LIMIT_MM = 3.175


@dataclass(frozen=True, slots=True, kw_only=True)
class DrawnPair:
    """A bay or frame: its line, and where it fails a label."""

    path: str
    state: str  # "worst", "failing", or "" where it keeps its length
    title: str
    amount_mm: float | None = None
    amount_label: str = ""
    label_x: float = 0.0
    label_y: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class DrawnPlate:
    """A plate as planned and where it stands."""

    mark: str
    href: str
    title: str
    state: str  # "stands", "opened", "alone" (goes on nowhere) or "left-out"
    planned: str  # points of a polygon
    placed: str
    label: PlanLabel
    hole_mm: float | None
    hit_x: float  # touch target, 28 units wide
    hit_y: float


@dataclass(frozen=True, slots=True, kw_only=True)
class FitUpDrawing:
    """Values that the template writes. [drawing units]"""

    left: float
    top: float
    width: float
    height: float
    title: str
    description: str
    size: str  # CSS class suffix: s, m, l, xl
    shift_factor: float
    planned: str
    pairs: tuple[DrawnPair, ...]
    corners: tuple[PlanLabel, ...]
    plates: tuple[DrawnPlate, ...]
    legend: tuple[LegendEntry, ...]


def find_worst_element(fit_up: FitUpResult) -> tuple[str, FitUpElementResult] | None:
    """Find the bay or frame that lacks most; None where each keeps its length.

    Returns
    -------
    tuple of str and FitUpElementResult, or None
        "bay" or "frame", and its entry.
    """
    elements = [("bay", each) for each in fit_up["bays"]]
    elements += [("frame", each) for each in fit_up["frames"]]
    failing = [each for each in elements if each[1]["misfit"] > MISFIT_SLACK_MM]
    return max(failing, key=lambda each: each[1]["misfit"], default=None)


def draw_fit_up(
    plan: Plan,
    fit_up: FitUpResult,
    *,
    line_limit_mm: float | None = None,
    href: Callable[[str], str] | None = None,
    units: DisplayStyle | None = None,
) -> FitUpDrawing:
    """Draw where the plates stand, and the bay or frame that cannot keep its length.

    Parameters
    ----------
    plan : Plan
        The anchor plan.
    fit_up : FitUpResult
        Of its result.
    line_limit_mm : float, optional
        Limit of a reference line: plates are drawn so that this much shows. [mm]
    href : callable, optional
        Address of a position's page, from its mark.
    units : DisplayStyle, optional
        Notation of lengths; that of the plan's own unit when left out.
    """
    # Without a result the sheet has its walls as planned and marks without verdicts.
    sheet, width = layout_sheet(plan, ResultView(None), None, units)
    centres = {p.mark: get_pattern_centre(sheet, p) for p in plan.positions}
    for centre in centres.values():
        sheet.occupied.occupy(bounding_box(centre, 26.0, 26.0), "plates")
    shown_limit = line_limit_mm or DEFAULT_LINE_LIMIT_MM
    scale = round_down(SHIFT_AT_LIMIT_UNITS / shown_limit / sheet.viewport.scale)
    factor = max(1.0, scale)
    plates = tuple(_draw_plates(sheet, fit_up, centres, factor, href))
    pairs = tuple(_draw_pairs(sheet, fit_up, centres))
    corners = label_corners(plan, sheet.viewport, sheet.occupied)
    edge = sheet.occupied.bounds()
    left, right = min(0.0, edge.left - 6), max(width, edge.right + 6)
    top = edge.top - 10
    legend, bottom = layout_entries(
        _list_legend(plates, pairs, factor), right, edge.bottom + 12, left + 12
    )
    return FitUpDrawing(
        left=round(left, 1),
        top=round(top, 1),
        width=round(right - left, 1),
        height=round(bottom - top, 1),
        title=f"Fit-up of {plan.name}",
        description=_describe_drawing(fit_up, len(plates)),
        size=get_size_class(width),
        shift_factor=factor,
        planned=path_data(sheet.viewport.points(outline_points(plan)), closed=True),
        pairs=pairs,
        corners=corners,
        plates=plates,
        legend=legend,
    )


def _draw_pairs(
    sheet: PlanSheet, fit_up: FitUpResult, centres: Mapping[str, FloatArray]
) -> list[DrawnPair]:
    """Draw every bay and frame; the worst last, over the others."""
    plan = sheet.plan
    worst = find_worst_element(fit_up)
    drawn = []
    for kind, pairs, elements in (
        ("Bay", find_bays(plan), fit_up["bays"]),
        ("Frame", find_spans(plan), fit_up["frames"]),
    ):
        listed = {frozenset(each["marks"]): each for each in elements}
        for pair in pairs:
            marks = [plan.positions[k].mark for k in (pair.first, pair.second)]
            element = listed.get(frozenset(marks))
            is_worst = worst is not None and element is worst[1]
            drawn.append(
                _draw_pair(sheet, kind, pair, marks, centres, element, is_worst)
            )
    return sorted(drawn, key=lambda each: each.state == "worst")


def _draw_pair(
    sheet: PlanSheet,
    kind: str,
    pair: NeighbourPair,
    marks: list[str],
    centres: Mapping[str, FloatArray],
    element: FitUpElementResult | None,
    is_worst: bool,
) -> DrawnPair:
    ends = np.array([centres[mark] for mark in marks])
    name = f"{kind} {marks[0]} to {marks[1]}"
    if element is None or element["misfit"] <= MISFIT_SLACK_MM:
        return DrawnPair(path=path_data(ends), state="", title=name)
    # No length would do where a plate cannot stand on its line either.
    missing = element["missing_length"]
    amount, label = (
        (element["misfit"], "short in each hole")
        if missing is None
        else (missing, "missing")
    )
    text = f"{sheet.lengths.format_fine(amount)} {label}"
    title = f"{name}: {text}"
    if not is_worst:
        return DrawnPair(path=path_data(ends), state="failing", title=title)
    x, y = _place_pair_label(sheet, ends, text)
    return DrawnPair(
        path=path_data(ends),
        state="worst",
        title=title,
        amount_mm=amount,
        amount_label=label,
        label_x=x,
        label_y=y,
    )


def _place_pair_label(
    sheet: PlanSheet, ends: FloatArray, text: str
) -> tuple[float, float]:
    """Place a label beside the middle of a line, where nothing is drawn yet."""
    along = ends[1] - ends[0]
    normal = np.array([-along[1], along[0]]) / max(float(np.hypot(*along)), 1.0)
    if abs(normal[1]) > abs(normal[0]):
        normal = normal * -np.sign(normal[1])  # above a level line, in the building
    width = text_width(text)
    for away in (16.0, -16.0, 30.0, -30.0, 44.0, -44.0):
        # Beside an upright line half the text has to be cleared.
        reach = away + math.copysign(abs(normal[0]) * width / 2, away)
        middle = ends.mean(axis=0) + normal * reach
        box = bounding_box(middle, width, 16.0)
        if sheet.occupied.is_free(box):
            break
    sheet.occupied.occupy(box)
    return round(float(middle[0]), 1), round(float(middle[1]), 1)


def _draw_plates(
    sheet: PlanSheet,
    fit_up: FitUpResult,
    centres: Mapping[str, FloatArray],
    factor: float,
    href: Callable[[str], str] | None,
) -> list[DrawnPlate]:
    placed = {each["mark"]: each for each in fit_up["plates"]}
    opened = {each["mark"]: each["hole"] for each in fit_up["open"]}
    left_out = {each["mark"] for each in fit_up["not_included"]}
    drawn = []
    for position in sheet.plan.positions:
        mark, centre = position.mark, centres[position.mark]
        plate = placed.get(mark)
        shift, turn = np.zeros(2), 0.0
        if plate is not None:
            shift = np.array([plate["shift_along"], plate["shift_in"]])
            turn = plate["turn"]
        if mark in left_out:
            state = "left-out"
        elif plate is None:
            state = "alone"
        else:
            state = "opened" if mark in opened else "stands"
        hole = opened.get(mark)
        label = _label_plate(sheet, position, centre, hole)
        drawn.append(
            DrawnPlate(
                mark=mark,
                href=href(mark) if href else "",
                title=_title_plate(sheet, mark, state, shift, hole),
                state=state,
                planned=_square(sheet, position, centre, np.zeros(2), 0.0),
                placed=_square(sheet, position, centre, shift * factor, turn)
                if plate is not None
                else "",
                label=label,
                hole_mm=hole,
                hit_x=round(float(centre[0]) - 14, 1),
                hit_y=round(float(centre[1]) - 14, 1),
            )
        )
    return drawn


def _square(
    sheet: PlanSheet,
    position: Position,
    centre: FloatArray,
    shift_mm: FloatArray,
    turn_rad: float,
) -> str:
    """Write the points of a plate's square. `shift_mm` along and in, as drawn."""
    axes = position_axes(sheet.plan, position)
    basis = np.array([axes.along, axes.inward])
    turn = TURN_FACTOR * turn_rad
    rotate = np.array(
        [[math.cos(turn), math.sin(turn)], [-math.sin(turn), math.cos(turn)]]
    )
    square = np.array([(-1.0, -1.0), (1.0, -1.0), (1.0, 1.0), (-1.0, 1.0)])
    reach = PLATE_REACH_UNITS / sheet.viewport.scale
    corners_mm = (square * reach @ rotate + shift_mm) @ basis
    return polygon_points(centre + sheet.viewport.vectors(corners_mm))


def _label_plate(
    sheet: PlanSheet, position: Position, centre: FloatArray, hole: float | None
) -> PlanLabel:
    """Place a plate's mark, with room behind it for the hole that it is opened to."""
    inward = position_axes(sheet.plan, position).inward
    outward = -sheet.viewport.vectors(inward[None])[0] / sheet.viewport.scale
    room = "" if hole is None else f" to {sheet.lengths.format_length(hole)}"
    wide = replace(position, mark=f"{position.mark}{room}")
    label = label_position(sheet, wide, centre, outward, Verdict.UNMEASURED)
    return replace(label, text=position.mark)


def _title_plate(
    sheet: PlanSheet, mark: str, state: str, shift: FloatArray, hole: float | None
) -> str:
    if state == "left-out":
        return f"{mark}: not in the fit-up"
    if state == "alone":
        return f"{mark}: the plate does not go on by itself"
    write = sheet.lengths.format_deviation
    place = f"along {write(float(shift[0]))}, in {write(float(shift[1]))}"
    opened = f"; open to {sheet.lengths.format_length(hole)}" if hole else ""
    return f"{mark}: {place}{opened}"


def _list_legend(
    plates: tuple[DrawnPlate, ...], pairs: tuple[DrawnPair, ...], factor: float
) -> list[LegendEntry]:
    states = {plate.state for plate in plates}
    entries = [LegendEntry(line_class="planned", text="as planned")]
    if any(pair.state for pair in pairs):
        entries.append(
            LegendEntry(line_class="pair worst", text="bay or frame that lacks most")
        )
    if any(pair.state == "failing" for pair in pairs):
        entries.append(
            LegendEntry(line_class="pair failing", text="cannot keep its length")
        )
    if "opened" in states:
        entries.append(
            LegendEntry(line_class="plate-line opened", text="plate to open")
        )
    if "alone" in states:
        entries.append(
            LegendEntry(line_class="plate-line alone", text="plate does not go on")
        )
    if "left-out" in states:
        entries.append(LegendEntry(line_class="plate-line left-out", text="not in it"))
    entries.append(
        LegendEntry(
            text=f"Shifts of plates {TIMES} {factor:g}, turns {TIMES} {TURN_FACTOR};"
            " plates not to scale"
        )
    )
    return entries


def _describe_drawing(fit_up: FitUpResult, count: int) -> str:
    worst = find_worst_element(fit_up)
    opened = [each["mark"] for each in fit_up["open"]]
    statement = "Every bay and frame keeps its length."
    if worst is not None:
        kind, element = worst
        statement = f"The {kind} {' to '.join(element['marks'])} lacks most."
    if opened:
        statement += f" To open: {', '.join(opened)}."
    return f"{count} plates. {statement}"
