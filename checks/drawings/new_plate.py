"""Drawing of a new base plate: its edges, its holes, and ordinates from its corner.

To scale in the plate's own axes, seen from above with the steel line below: along to
the right, inward up. The holes of the plate as drawn are dashed.

           +-----------------+
     6 1/4 |--o           o  |
           |                 |
     1 1/4 |--o           o  |
       0,0 +--|-----------|--+
            1 1/4       5 1/4
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from checks.drawings.canvas import fit_viewport
from checks.drawings.legend import LegendEntry, layout_entries
from core.svg import FloatArray, Viewport, path_data
from jobs.anchor_plan.values import Detail
from jobs.exchange.result.findings import NewPlateResult, RemedyResult

WIDTH_UNITS = 480.0
MARGIN_UNITS = 84.0
MAX_HEIGHT_UNITS = 520.0
LABEL_SPACING_UNITS = 17.0
LABEL_GAP_UNITS = 14.0  # between the plate and its ordinates
SAME_ORDINATE_MM = 0.01  # ordinates this close are one


@dataclass(frozen=True, slots=True, kw_only=True)
class PlateHole:
    """A hole as the shop makes it, with the hole as drawn and the rod in it."""

    rod: int
    x: float
    y: float
    radius: float
    rod_x: float
    rod_y: float
    rod_radius: float
    planned_x: float
    planned_y: float


@dataclass(frozen=True, slots=True, kw_only=True)
class PlateOrdinate:
    """A distance from the plate's first corner, with its leader and its text."""

    mm: float
    path: str
    x: float
    y: float


@dataclass(frozen=True, slots=True, kw_only=True)
class NewPlateDrawing:
    """Values that the template writes. [drawing units]"""

    size: str
    width: float
    height: float
    title: str
    description: str
    plate: str
    planned_plate: str
    reference_line: str
    reference_x: float
    corner_x: float
    corner_y: float
    holes: tuple[PlateHole, ...]
    columns: tuple[PlateOrdinate, ...]
    rows: tuple[PlateOrdinate, ...]
    width_line: str
    width_mm: float
    width_at: tuple[float, float]
    depth_line: str
    depth_mm: float
    depth_at: tuple[float, float]
    legend: tuple[LegendEntry, ...]


def draw_new_plate(mark: str, detail: Detail, remedy: RemedyResult) -> NewPlateDrawing:
    """Draw the plate of a remedy, whose every value is known.

    Parameters
    ----------
    mark : str
        Of the position.
    detail : Detail
        Its detail: the holes as drawn, and the rods' diameters. [mm]
    remedy : RemedyResult
        A new plate. [mm]
    """
    plate = remedy["plate"]
    corner = np.array([plate["corner_along"], plate["corner_in"]], dtype=float)
    size = np.array([plate["width"], plate["depth"]], dtype=float)
    planned = np.array([(rod.along, rod.inward) for rod in detail.rods]) - corner
    holes = np.array([(hole["x"], hole["y"]) for hole in plate["holes"]], dtype=float)
    outline = np.array([[0.0, 0.0], [1.0, 0.0], [1.0, 1.0], [0.0, 1.0]]) * size
    around = np.concatenate([outline, planned])
    view, height = fit_viewport(around, WIDTH_UNITS, MARGIN_UNITS, MAX_HEIGHT_UNITS)
    zero, far = view.points(np.array([[0.0, 0.0], size]))
    grown = _find_planned_outline(plate, size)
    legend, bottom = layout_entries(
        _list_legend(grown is not None), WIDTH_UNITS, height
    )
    middle = view.points(-corner[None])[0][0]
    return NewPlateDrawing(
        size="s",
        width=WIDTH_UNITS,
        height=round(bottom + 4, 1),
        title=f"New base plate for {mark}",
        description=(
            f"{len(holes)} holes where the rods stand, with distances from the plate's"
            " first corner; the holes as drawn are dashed."
        ),
        plate=path_data(view.points(outline), closed=True),
        planned_plate=""
        if grown is None
        else path_data(view.points(grown), closed=True),
        reference_line=path_data(
            np.array([[middle, far[1] - 12], [middle, zero[1] + 8]])
        ),
        reference_x=round(float(middle), 1),
        corner_x=round(float(zero[0]), 1),
        corner_y=round(float(zero[1]), 1),
        holes=_draw_holes(view, detail, remedy, holes, planned),
        columns=_list_columns(view, holes[:, 0]),
        rows=_list_rows(view, holes[:, 1]),
        width_line=path_data(np.array([[zero[0], far[1] - 30], [far[0], far[1] - 30]])),
        width_mm=float(size[0]),
        width_at=(round(float(zero[0] + far[0]) / 2, 1), round(float(far[1]) - 44, 1)),
        depth_line=path_data(np.array([[far[0] + 14, zero[1]], [far[0] + 14, far[1]]])),
        depth_mm=float(size[1]),
        depth_at=(round(float(far[0]) + 22, 1), round(float(zero[1] + far[1]) / 2, 1)),
        legend=legend,
    )


def _find_planned_outline(plate: NewPlateResult, size: FloatArray) -> FloatArray | None:
    """Return the corners of the plate as drawn, where the new one is larger. [mm]"""
    growth = {row["side"]: row["by"] or 0.0 for row in plate["growth"]}
    if not growth:
        return None
    left, near = growth.get("left", 0.0), growth.get("near", 0.0)
    right = float(size[0]) - growth.get("right", 0.0)
    far = float(size[1]) - growth.get("far", 0.0)
    return np.array([[left, near], [right, near], [right, far], [left, far]])


def _draw_holes(
    view: Viewport,
    detail: Detail,
    remedy: RemedyResult,
    holes: FloatArray,
    planned: FloatArray,
) -> tuple[PlateHole, ...]:
    rows = remedy["plate"]["holes"]
    exact = np.array([(row["exact_x"], row["exact_y"]) for row in rows], dtype=float)
    radius = (remedy.get("ordered_diameter") or 0.0) / 2.0 * view.scale
    made, built, drawn = view.points(holes), view.points(exact), view.points(planned)
    return tuple(
        PlateHole(
            rod=rod.number,
            x=round(float(made[index][0]), 2),
            y=round(float(made[index][1]), 2),
            radius=round(radius, 2),
            rod_x=round(float(built[index][0]), 2),
            rod_y=round(float(built[index][1]), 2),
            rod_radius=round(rod.diameter / 2.0 * view.scale, 2),
            planned_x=round(float(drawn[index][0]), 2),
            planned_y=round(float(drawn[index][1]), 2),
        )
        for index, rod in enumerate(detail.rods)
    )


def _list_columns(view: Viewport, ordinates: FloatArray) -> tuple[PlateOrdinate, ...]:
    """List the distances along, below the plate, their text turned upright."""
    values = _merge_ordinates(ordinates)
    at = [float(view.points(np.array([[value, 0.0]]))[0][0]) for value in values]
    edge = float(view.points(np.zeros((1, 2)))[0][1])
    return tuple(
        PlateOrdinate(
            mm=value,
            path=f"M{x:.1f} {edge:.1f}v4L{text:.1f} {edge + LABEL_GAP_UNITS:.1f}",
            x=round(text, 1),
            y=round(edge + LABEL_GAP_UNITS + 3, 1),
        )
        for value, x, text in zip(values, at, spread_labels(at), strict=True)
    )


def _list_rows(view: Viewport, ordinates: FloatArray) -> tuple[PlateOrdinate, ...]:
    """List the distances inward, to the left of the plate."""
    values = _merge_ordinates(ordinates)
    edge = float(view.points(np.zeros((1, 2)))[0][0])
    at = [float(view.points(np.array([[0.0, value]]))[0][1]) for value in values]
    # Down the sheet y grows, so that the labels are spread from the top.
    texts = spread_labels(at[::-1])[::-1]
    return tuple(
        PlateOrdinate(
            mm=value,
            path=f"M{edge:.1f} {y:.1f}h-4L{edge - LABEL_GAP_UNITS:.1f} {text:.1f}",
            x=round(edge - LABEL_GAP_UNITS - 3, 1),
            y=round(text, 1),
        )
        for value, y, text in zip(values, at, texts, strict=True)
    )


def _merge_ordinates(ordinates: FloatArray) -> list[float]:
    """Return the ordinates in rising order, equal ones once. [mm]"""
    merged: list[float] = []
    for value in np.sort(ordinates).tolist():
        if not merged or value - merged[-1] > SAME_ORDINATE_MM:
            merged.append(float(value))
    return merged


def spread_labels(places: Sequence[float]) -> list[float]:
    """Move labels apart so that none overlaps the next, each near its place.

    Parameters
    ----------
    places : sequence of float
        In rising order. [drawing units]

    Returns
    -------
    list of float
        In the same order, at least `LABEL_SPACING_UNITS` apart. Labels that crowd
        stand about the middle of their places.
    """
    groups: list[list[float]] = []
    for place in places:
        groups.append([place])
        # A group is as wide as its labels; two that overlap become one.
        while len(groups) > 1 and _overlap(groups[-2], groups[-1]):
            groups[-2:] = [groups[-2] + groups[-1]]
    return [place for group in groups for place in _row_of_labels(group)]


def _row_of_labels(group: list[float]) -> list[float]:
    start = sum(group) / len(group) - (len(group) - 1) / 2 * LABEL_SPACING_UNITS
    return [start + index * LABEL_SPACING_UNITS for index in range(len(group))]


def _overlap(before: list[float], after: list[float]) -> bool:
    gap = _row_of_labels(after)[0] - _row_of_labels(before)[-1]
    return gap < LABEL_SPACING_UNITS


def _list_legend(grown: bool) -> list[LegendEntry]:
    entries = [
        LegendEntry(line_class="d-hole", text="hole to punch"),
        LegendEntry(line_class="hole-planned", text="hole as drawn"),
        LegendEntry(line_class="rod-built-line", text="rod as built"),
        LegendEntry(line_class="reference-line", text="reference line"),
    ]
    if grown:
        entries.append(LegendEntry(line_class="plate-planned", text="plate as drawn"))
    return entries
