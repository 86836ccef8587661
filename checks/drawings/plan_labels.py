"""Labels of the plan drawing, placed so that they do not overlap."""

import math
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import product

import numpy as np

from checks.drawings.canvas import (
    SHAPE_UNITS,
    Box,
    OccupiedSpace,
    bounding_box,
    text_width,
)
from checks.drawings.plan_sheet import PlanSheet
from checks.labels import get_nearer_bound
from core.svg import FloatArray, Viewport, upright_angle
from core.vocabulary import Verdict
from jobs.anchor_plan.geometry import outline_points
from jobs.anchor_plan.values import Plan, Position
from jobs.exchange.result.document import CheckResult

LINE_HEIGHT_UNITS = 16.0  # from one line of text to the next
MAX_LABEL_ROWS = 6
DIAGONAL_KIND = "diagonal"
DIAGONAL_FRACTIONS = (0.27, 0.73, 0.32, 0.68, 0.23, 0.77, 0.37, 0.63, 0.42, 0.58, 0.5)


@dataclass(frozen=True, slots=True, kw_only=True)
class PlanLabel:
    """A name with the shape and the label of a verdict, each where given."""

    text: str
    x: float
    y: float
    shape: str = ""
    shape_x: float = 0.0
    verdict_label: str = ""
    leader: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class DimensionLabel:
    """A length along a line, rotated with it. [drawing units, degrees]"""

    mm: float
    deviation_mm: float | None
    limit_mm: float | None
    verdict_label: str
    shape: str
    x: float
    y: float
    rotation_deg: float
    shape_x: float  # left of the text, on the rotated axes
    text_x: float
    line_path: str = ""  # path data of the dimension line

    @property
    def counter_rotation_deg(self) -> float:
        """Rotation that sets a verdict's shape upright again. [degrees]"""
        return -self.rotation_deg


@dataclass(frozen=True, slots=True, kw_only=True)
class DimensionText:
    """Text of a dimension, in full or shortened, and its width."""

    mm: float
    deviation_mm: float | None
    limit_mm: float | None
    verdict_label: str
    shape: str
    width: float


def label_corners(
    plan: Plan, view: Viewport, occupied: OccupiedSpace
) -> tuple[PlanLabel, ...]:
    """Place the names of the corners outside the outline, on the bisectors."""
    points = view.points(outline_points(plan))
    marks = []
    for index, corner in enumerate(plan.outline):
        ahead = points[(index + 1) % len(points)] - points[index]
        behind = points[index - 1] - points[index]
        edges = [edge / np.hypot(*edge) for edge in (ahead, behind)]
        # The sum of both edges points into a convex corner, out of a re-entrant one.
        inward = edges[0] + edges[1]
        turn = edges[0][0] * edges[1][1] - edges[0][1] * edges[1][0]
        sign = 1.0 if turn < 0 else -1.0
        outward = -sign * inward / (float(np.hypot(*inward)) or 1.0)
        for away in (20.0, 30.0, 40.0, 48.0, 56.0):
            box = bounding_box(
                points[index] + outward * away,
                text_width(corner.name),
                LINE_HEIGHT_UNITS,
            )
            if occupied.is_free(box):
                break
        occupied.occupy(box)
        x, y = (box.left + box.right) / 2, (box.top + box.bottom) / 2
        marks.append(PlanLabel(text=corner.name, x=round(x, 1), y=round(y, 1)))
    return tuple(marks)


def label_position(
    sheet: PlanSheet,
    position: Position,
    centre: FloatArray,
    outward: FloatArray,
    verdict: Verdict,
) -> PlanLabel:
    """Place a position's mark outside its wall, or beside a position at a point.

    The first free place in a few rows is taken, with the label of the verdict where
    there is room; a leader is drawn from every row but the first.
    """
    shape = verdict if sheet.results.result else ""
    labelled = sheet.shows_words and shape in {Verdict.OUTSIDE, Verdict.REMEASURE}
    labels = [verdict.label, ""] if labelled else [""]
    reach = 34.0 if position.wall is not None else 22.0
    for row, label in product(range(MAX_LABEL_ROWS), labels):
        box, at = _place_label(position.mark, shape, label, centre, outward, reach, row)
        if sheet.occupied.is_free(box):
            break
    sheet.occupied.occupy(box, "marks")
    middle = (box.left + box.right) / 2
    leader = ""
    if row > 0:
        start = centre + outward * reach * 0.75
        end = np.array([middle, (box.top + box.bottom) / 2])
        end = end - outward * (LINE_HEIGHT_UNITS * 0.6)
        leader = f"M{start[0]:.1f} {start[1]:.1f} L{end[0]:.1f} {end[1]:.1f}"
    return PlanLabel(
        text=position.mark,
        x=round(at[0] + (SHAPE_UNITS + 2 if shape else 0), 1),
        y=round(at[1], 1),
        shape=shape,
        shape_x=round(at[0] + SHAPE_UNITS / 2, 1),
        verdict_label=label,
        leader=leader,
    )


def _place_label(
    mark: str,
    shape: str,
    verdict_label: str,
    centre: FloatArray,
    outward: FloatArray,
    reach: float,
    row: int,
) -> tuple[Box, tuple[float, float]]:
    """Return the box of a label in a row, and the start of its line of text."""
    text = f"{mark} {verdict_label}" if verdict_label else mark
    width = 1.1 * text_width(text) + (SHAPE_UNITS + 2 if shape else 0)
    upright = abs(outward[1]) > abs(outward[0])
    step = LINE_HEIGHT_UNITS if upright else 0.0
    at = centre + outward * (reach + row * step)
    left = at[0] - width / 2 if upright else at[0] + (0 if outward[0] > 0 else -width)
    top = at[1] - LINE_HEIGHT_UNITS / 2 + (0.0 if upright else _row_offset(row))
    box = Box(left - 2, top, left + width + 2, top + LINE_HEIGHT_UNITS)
    return box, (float(left), float(top + LINE_HEIGHT_UNITS / 2))


def _row_offset(row: int) -> float:
    """Return the offset of a row at an upright wall: above and below by turns."""
    return (row + 1) // 2 * LINE_HEIGHT_UNITS * (1 if row % 2 else -1)


def label_wall(
    sheet: PlanSheet, wall: tuple[str, str], check: CheckResult | None
) -> DimensionLabel:
    """Place the length of a wall outside its marks, on a dimension line."""
    corners = {corner.name: (corner.x, corner.y) for corner in sheet.plan.outline}
    ends = sheet.viewport.points(np.array([corners[name] for name in wall]))
    nominal = math.dist(corners[wall[0]], corners[wall[1]])
    along = (ends[1] - ends[0]) / np.hypot(*(ends[1] - ends[0]))
    outward = np.array([-along[1], along[0]])
    rotation = _readable_rotation(along)
    room = float(np.hypot(*(ends[1] - ends[0])))
    angle = math.atan2(along[1], along[0])
    for text, away in _iter_candidates(_dimension_texts(sheet, nominal, check), room):
        middle = ends.mean(axis=0) + outward * away
        box = bounding_box(middle, text.width, LINE_HEIGHT_UNITS, angle)
        line_box = bounding_box(middle, room, 12.0, angle)
        if sheet.occupied.is_free(box) and sheet.occupied.is_free(line_box, "marks"):
            break
    sheet.occupied.occupy(box)
    line = _dimension_line(ends, outward, away, text.width)
    return _build_dimension(text, middle, rotation, line_path=line)


def _iter_candidates(
    texts: list[DimensionText], room: float
) -> Iterator[tuple[DimensionText, float]]:
    """Iterate over texts of a dimension and distances from the wall, best first."""
    for text in texts:
        if text.width <= room:
            yield from ((text, float(away)) for away in np.arange(34.0, 72.0, 3.0))
    yield from ((texts[-1], float(away)) for away in np.arange(34.0, 140.0, 3.0))


def label_diagonal(
    sheet: PlanSheet, pair: tuple[str, str], check: CheckResult | None
) -> DimensionLabel | None:
    """Place the length of a diagonal on its line, where nothing else is."""
    if check is None and sheet.results.result is None:
        return None
    corners = {corner.name: (corner.x, corner.y) for corner in sheet.plan.outline}
    nominal = math.dist(corners[pair[0]], corners[pair[1]])
    ends = np.array([sheet.locate_corner(name) for name in pair])
    along = (ends[1] - ends[0]) / np.hypot(*(ends[1] - ends[0]))
    angle = math.atan2(along[1], along[0])
    room = 0.45 * float(np.hypot(*(ends[1] - ends[0])))
    texts = _dimension_texts(sheet, nominal, check)
    candidates = [
        (text, ends[0] + fraction * (ends[1] - ends[0]))
        for text in [each for each in texts if each.width <= room] or texts[-1:]
        for fraction in DIAGONAL_FRACTIONS
    ]
    # On a crowded sheet it must at least not cover the text of the other diagonal.
    for kind in ("", DIAGONAL_KIND):
        for text, middle in candidates:
            boxes = _boxes_along(middle, along, text.width)
            if all(sheet.occupied.is_free(box, kind) for box in boxes):
                return _occupy_diagonal(sheet, text, middle, boxes, angle)
    text, middle = candidates[-1]
    return _occupy_diagonal(
        sheet, text, middle, _boxes_along(middle, along, text.width), angle
    )


def _occupy_diagonal(
    sheet: PlanSheet,
    text: DimensionText,
    middle: FloatArray,
    boxes: list[Box],
    angle: float,
) -> DimensionLabel:
    for box in boxes:
        sheet.occupied.occupy(box, DIAGONAL_KIND)
    return _build_dimension(text, middle, math.degrees(upright_angle(angle)))


def _boxes_along(middle: FloatArray, along: FloatArray, width: float) -> list[Box]:
    """Cover a slanting line of text with small boxes."""
    count = max(1, math.ceil(width / LINE_HEIGHT_UNITS))
    steps = (np.arange(count) + 0.5) / count - 0.5
    return [
        bounding_box(
            middle + step * width * along, LINE_HEIGHT_UNITS, LINE_HEIGHT_UNITS
        )
        for step in steps
    ]


def _dimension_texts(
    sheet: PlanSheet, nominal: float, check: CheckResult | None
) -> list[DimensionText]:
    """Return the texts of a dimension: in full, without verdict, without deviation."""
    if check is None or check["observed"] is None:
        # Readings that contradict each other are no length: the planned one is drawn.
        verdict = Verdict.UNMEASURED if check is None else Verdict(check["verdict"])
        labels = [verdict.label, ""] if verdict == Verdict.REMEASURE else [""]
        return [
            _dimension_text(sheet, nominal, None, None, label, verdict)
            for label in labels
        ]
    observed, verdict = check["observed"], Verdict(check["verdict"])
    deviation = check["deviation"]
    if sheet.lengths.format_deviation(deviation) == sheet.lengths.format_deviation(0.0):
        deviation = None
    limit = get_nearer_bound(check)
    return [
        _dimension_text(sheet, observed, deviation, limit, verdict.label, verdict),
        _dimension_text(sheet, observed, deviation, limit, "", verdict),
        _dimension_text(sheet, observed, None, None, "", verdict),
    ]


def _dimension_text(
    sheet: PlanSheet,
    mm: float,
    deviation: float | None,
    limit: float | None,
    verdict_label: str,
    verdict: Verdict,
) -> DimensionText:
    parts = [sheet.lengths.format_length(mm)]
    if deviation is not None:
        parts.append(sheet.lengths.format_deviation(deviation, limit))
    shape = verdict if sheet.results.result else ""
    width = text_width(" ".join([*parts, verdict_label] if verdict_label else parts))
    return DimensionText(
        mm=mm,
        deviation_mm=deviation,
        limit_mm=limit,
        verdict_label=verdict_label,
        shape=shape,
        width=width + (SHAPE_UNITS + 4 if shape else 0) + 8,
    )


def _readable_rotation(along: FloatArray) -> float:
    """Return the rotation at which text along a wall is upright. [degrees]"""
    return math.degrees(upright_angle(math.atan2(along[1], along[0])))


def _dimension_line(
    ends: FloatArray, outward: FloatArray, away: float, width: float
) -> str:
    """Write a dimension line that leaves a gap for its text, with end strokes."""
    along = (ends[1] - ends[0]) / np.hypot(*(ends[1] - ends[0]))
    room = float(np.hypot(*(ends[1] - ends[0])))
    half = (room - width) / 2 - 4
    parts = []
    for end, sign in ((ends[0], 1.0), (ends[1], -1.0)):
        at = end + outward * away
        low, high = at - outward * 5, at + outward * 5
        parts.append(f"M{low[0]:.1f} {low[1]:.1f} L{high[0]:.1f} {high[1]:.1f}")
        if half > 6:
            stop = at + along * sign * half
            parts.append(f"M{at[0]:.1f} {at[1]:.1f} L{stop[0]:.1f} {stop[1]:.1f}")
    return " ".join(parts)


def _build_dimension(
    text: DimensionText, middle: FloatArray, rotation_deg: float, line_path: str = ""
) -> DimensionLabel:
    left = -text.width / 2 + 4
    return DimensionLabel(
        mm=text.mm,
        deviation_mm=text.deviation_mm,
        limit_mm=text.limit_mm,
        verdict_label=text.verdict_label,
        shape=text.shape,
        x=round(float(middle[0]), 1),
        y=round(float(middle[1]), 1),
        rotation_deg=round(rotation_deg, 2),
        shape_x=round(left + SHAPE_UNITS / 2, 1),
        text_x=round(left + SHAPE_UNITS + 4, 1) if text.shape else 0.0,
        line_path=line_path,
    )
