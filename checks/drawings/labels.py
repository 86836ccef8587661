"""Labels of the plan drawing, each put where nothing else is yet."""

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from checks.drawings.canvas import (
    SHAPE_UNITS,
    Box,
    Crowd,
    FloatArray,
    View,
    box_around,
    text_width,
)
from checks.drawings.judged import OUTSIDE, REMEASURE, UNMEASURED
from checks.drawings.plan_sheet import PlanSheet
from jobs.plan.geometry import outline_points
from jobs.plan.model import Plan, Position

LINE_UNITS = 16.0  # from one line of text to the next
ROWS = 6
DIAGONAL = "diagonal"
SHARES = (0.27, 0.73, 0.32, 0.68, 0.23, 0.77, 0.37, 0.63, 0.42, 0.58, 0.5)


@dataclass(frozen=True, slots=True, kw_only=True)
class Mark:
    """A name beside its place, with the shape and word of a verdict where given."""

    text: str
    x: float
    y: float
    shape: str = ""
    shape_x: float = 0.0
    word: str = ""
    leader: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Dimension:
    """A length along a line, turned with it. [drawing units, degrees]"""

    mm: float
    deviation_mm: float | None
    word: str
    shape: str
    x: float
    y: float
    turn: float
    shape_x: float  # left of the text, in the turned axes
    text_x: float
    ticks: str = ""  # path data of the dimension line

    @property
    def unturn(self) -> float:
        """Turn that sets a verdict's shape upright again. [degrees]"""
        return -self.turn


@dataclass(frozen=True, slots=True, kw_only=True)
class Said:
    """What a dimension says, in full or shortened, and the room it takes."""

    mm: float
    deviation_mm: float | None
    word: str
    shape: str
    width: float


def corner_names(plan: Plan, view: View, crowd: Crowd) -> tuple[Mark, ...]:
    """Names of the corners, outside the outline on the corner's bisector."""
    points = view.points(outline_points(plan))
    marks = []
    for index, corner in enumerate(plan.outline):
        ahead = points[(index + 1) % len(points)] - points[index]
        behind = points[index - 1] - points[index]
        edges = [edge / np.hypot(*edge) for edge in (ahead, behind)]
        # the sum of the two points into a convex corner, out of a re-entrant one
        inward = edges[0] + edges[1]
        turn = edges[0][0] * edges[1][1] - edges[0][1] * edges[1][0]
        sign = 1.0 if turn < 0 else -1.0
        outward = -sign * inward / (float(np.hypot(*inward)) or 1.0)
        for away in (20.0, 30.0, 40.0, 48.0, 56.0):
            box = box_around(
                points[index] + outward * away, text_width(corner.name), LINE_UNITS
            )
            if crowd.free(box):
                break
        crowd.take(box)
        x, y = (box.left + box.right) / 2, (box.top + box.bottom) / 2
        marks.append(Mark(text=corner.name, x=round(x, 1), y=round(y, 1)))
    return tuple(marks)


def mark_label(
    sheet: PlanSheet,
    position: Position,
    centre: FloatArray,
    outward: FloatArray,
    verdict: str,
) -> Mark:
    """A position's mark, outside its wall, or beside it at a point.

    The first free place of a few rows is taken, with the verdict's word where it
    fits; a leader is drawn from any row but the first.
    """
    shape = verdict if sheet.judged.result else ""
    word = verdict if sheet.wordy and shape in {OUTSIDE, REMEASURE} else ""
    reach = 34.0 if position.wall is not None else 22.0
    for row, said in ((row, said) for row in range(ROWS) for said in {word: 1, "": 1}):
        box, at = _beside(position.mark, shape, said, centre, outward, reach, row)
        if sheet.crowd.free(box):
            break
    sheet.crowd.take(box, "marks")
    middle = (box.left + box.right) / 2
    leader = ""
    if row > 0:
        start = centre + outward * reach * 0.75
        end = np.array([middle, (box.top + box.bottom) / 2])
        end = end - outward * (LINE_UNITS * 0.6)
        leader = f"M{start[0]:.1f} {start[1]:.1f} L{end[0]:.1f} {end[1]:.1f}"
    return Mark(
        text=position.mark,
        x=round(at[0] + (SHAPE_UNITS + 2 if shape else 0), 1),
        y=round(at[1], 1),
        shape=shape,
        shape_x=round(at[0] + SHAPE_UNITS / 2, 1),
        word=said,
        leader=leader,
    )


def _beside(
    mark: str,
    shape: str,
    word: str,
    centre: FloatArray,
    outward: FloatArray,
    reach: float,
    row: int,
) -> tuple[Box, tuple[float, float]]:
    """Box of a label in a row, and where its line of text starts."""
    text = f"{mark} {word}" if word else mark
    width = 1.1 * text_width(text) + (SHAPE_UNITS + 2 if shape else 0)
    upright = abs(outward[1]) > abs(outward[0])
    step = LINE_UNITS if upright else 0.0
    at = centre + outward * (reach + row * step)
    left = at[0] - width / 2 if upright else at[0] + (0 if outward[0] > 0 else -width)
    top = at[1] - LINE_UNITS / 2 + (0.0 if upright else _sideways(row))
    box = Box(left - 2, top, left + width + 2, top + LINE_UNITS)
    return box, (float(left), float(top + LINE_UNITS / 2))


def _sideways(row: int) -> float:
    """Rows of an upright wall go up and down from the middle by turns."""
    return (row + 1) // 2 * LINE_UNITS * (1 if row % 2 else -1)


def wall_label(
    sheet: PlanSheet, wall: tuple[str, str], check: Mapping[str, Any] | None
) -> Dimension:
    """Length of a wall, outside its marks, on a dimension line."""
    corners = {corner.name: (corner.x, corner.y) for corner in sheet.plan.outline}
    ends = sheet.view.points(np.array([corners[name] for name in wall]))
    nominal = math.dist(corners[wall[0]], corners[wall[1]])
    along = (ends[1] - ends[0]) / np.hypot(*(ends[1] - ends[0]))
    outward = np.array([-along[1], along[0]])
    turn = _readable(along)
    room = float(np.hypot(*(ends[1] - ends[0])))
    angle = math.atan2(along[1], along[0])
    for said, away in _tries(_ways_to_say(sheet, nominal, check), room):
        middle = ends.mean(axis=0) + outward * away
        box = box_around(middle, said.width, LINE_UNITS, angle)
        line = box_around(middle, room, 12.0, angle)
        if sheet.crowd.free(box) and sheet.crowd.free(line, "marks"):
            break
    sheet.crowd.take(box)
    ticks = _ticks(ends, outward, away, said.width)
    return _dimension(said, middle, turn, ticks=ticks)


def _tries(ways: list[Said], room: float) -> Iterator[tuple[Said, float]]:
    """What a dimension may say and how far out, the best first."""
    for said in ways:
        if said.width <= room:
            yield from ((said, float(away)) for away in np.arange(34.0, 72.0, 3.0))
    yield from ((ways[-1], float(away)) for away in np.arange(34.0, 140.0, 3.0))


def diagonal_label(
    sheet: PlanSheet, pair: tuple[str, str], check: Mapping[str, Any] | None
) -> Dimension | None:
    """Length of a diagonal, on the line itself where nothing else is."""
    if check is None and sheet.judged.result is None:
        return None
    corners = {corner.name: (corner.x, corner.y) for corner in sheet.plan.outline}
    nominal = math.dist(corners[pair[0]], corners[pair[1]])
    ends = np.array([sheet.corner(name) for name in pair])
    along = (ends[1] - ends[0]) / np.hypot(*(ends[1] - ends[0]))
    angle = math.atan2(along[1], along[0])
    room = 0.45 * float(np.hypot(*(ends[1] - ends[0])))
    fitting = [w for w in _ways_to_say(sheet, nominal, check) if w.width <= room]
    tries = [
        (said, ends[0] + share * (ends[1] - ends[0]))
        for said in fitting or [_ways_to_say(sheet, nominal, check)[-1]]
        for share in SHARES
    ]
    # On a crowded sheet the other diagonal's words are what must be kept clear of.
    for of in ("", DIAGONAL):
        for said, middle in tries:
            boxes = _pieces(middle, along, said.width)
            if all(sheet.crowd.free(box, of) for box in boxes):
                return _put(sheet, said, middle, boxes, angle)
    said, middle = tries[-1]
    return _put(sheet, said, middle, _pieces(middle, along, said.width), angle)


def _put(
    sheet: PlanSheet, said: Said, middle: FloatArray, boxes: list[Box], angle: float
) -> Dimension:
    for box in boxes:
        sheet.crowd.take(box, DIAGONAL)
    return _dimension(said, middle, math.degrees(_upright(angle)))


def _pieces(middle: FloatArray, along: FloatArray, width: float) -> list[Box]:
    """A slanting line of text as small boxes."""
    count = max(1, math.ceil(width / LINE_UNITS))
    steps = (np.arange(count) + 0.5) / count - 0.5
    return [
        box_around(middle + step * width * along, LINE_UNITS, LINE_UNITS)
        for step in steps
    ]


def _ways_to_say(
    sheet: PlanSheet, nominal: float, check: Mapping[str, Any] | None
) -> list[Said]:
    """A dimension in full, without its verdict's word, without its deviation too."""
    if check is None or check.get("observed") is None:
        return [_say(sheet, nominal, None, "", UNMEASURED)]
    observed, verdict = check["observed"], check["verdict"]
    deviation = check["deviation"]
    if sheet.writer.deviation(deviation) == sheet.writer.deviation(0.0):
        deviation = None
    return [
        _say(sheet, observed, deviation, verdict, verdict),
        _say(sheet, observed, deviation, "", verdict),
        _say(sheet, observed, None, "", verdict),
    ]


def _say(
    sheet: PlanSheet, mm: float, deviation: float | None, word: str, verdict: str
) -> Said:
    parts = [sheet.writer.length(mm)]
    if deviation is not None:
        parts.append(sheet.writer.deviation(deviation))
    shape = verdict if sheet.judged.result else ""
    width = text_width(" ".join([*parts, word] if word else parts))
    return Said(
        mm=mm,
        deviation_mm=deviation,
        word=word,
        shape=shape,
        width=width + (SHAPE_UNITS + 4 if shape else 0) + 8,
    )


def _upright(angle: float) -> float:
    """The angle [rad] turned half around where text would hang upside down."""
    if angle > math.pi / 2 - 1e-9:
        return angle - math.pi
    return angle + math.pi if angle <= -math.pi / 2 - 1e-9 else angle


def _readable(along: FloatArray) -> float:
    """Turn of text along a wall, read from below or from the right. [degrees]"""
    return math.degrees(_upright(math.atan2(along[1], along[0])))


def _ticks(ends: FloatArray, outward: FloatArray, away: float, width: float) -> str:
    """A dimension line broken for its text, with a stroke at either end."""
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


def _dimension(
    said: Said, middle: FloatArray, turn: float, ticks: str = ""
) -> Dimension:
    left = -said.width / 2 + 4
    return Dimension(
        mm=said.mm,
        deviation_mm=said.deviation_mm,
        word=said.word,
        shape=said.shape,
        x=round(float(middle[0]), 1),
        y=round(float(middle[1]), 1),
        turn=round(turn, 2),
        shape_x=round(left + SHAPE_UNITS / 2, 1),
        text_x=round(left + SHAPE_UNITS + 4, 1) if said.shape else 0.0,
        ticks=ticks,
    )
