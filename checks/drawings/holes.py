"""The base plate and its holes as drawn: where it fits best, and slots proposed."""

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from checks.drawings.result_view import ResultView
from core.svg import FloatArray, Viewport, path_data
from jobs.anchor_plan.values import Detail
from jobs.plans.plan_drawing import plate_bounds


@dataclass(frozen=True, slots=True, kw_only=True)
class DrawnHole:
    """A hole of the plate where it fits best."""

    x: float
    y: float
    radius: float
    fouled: bool  # the rod does not pass
    slot: str = ""  # path data of the proposed slot


def place_holes(planned: FloatArray, plate_fit: Mapping[str, Any] | None) -> FloatArray:
    """Hole centres at the plate's best fit: turned about their middle, then shifted.

    Parameters
    ----------
    planned : array, shape (n_rods, 2)
        Planned rod centres, which the holes are punched for. [mm]
    plate_fit : mapping, optional
        Of the result: shift_along, shift_in [mm] and turn [rad]; none leaves the
        holes where the plan has them.
    """
    return _place_points(planned, planned.mean(axis=0), plate_fit)


def _place_points(
    points: FloatArray, middle: FloatArray, plate_fit: Mapping[str, Any] | None
) -> FloatArray:
    """Points of the plate, turned about its middle and shifted. [mm]"""
    if plate_fit is None:
        return points
    cosine, sine = math.cos(plate_fit["turn"]), math.sin(plate_fit["turn"])
    turned = (points - middle) @ np.array([[cosine, sine], [-sine, cosine]])
    shift = np.array([plate_fit["shift_along"], plate_fit["shift_in"]])
    return np.asarray(middle + turned + shift)


def draw_plate(
    planned: FloatArray,
    detail: Detail,
    plate_fit: Mapping[str, Any] | None,
    view: Viewport,
) -> str:
    """The plate's edges, from the outermost holes and the edge distance."""
    edges = plate_bounds(detail)
    if edges is None:
        return ""
    left, low, right, high = edges
    corners = np.array([[left, low], [right, low], [right, high], [left, high]])
    placed = _place_points(corners, planned.mean(axis=0), plate_fit)
    return path_data(view.points(placed), closed=True)


def draw_holes(
    view: Viewport,
    detail: Detail,
    holes: FloatArray,
    built: FloatArray,
    plate_fit: Mapping[str, Any] | None,
    slots: Mapping[int, Mapping[str, Any]],
) -> tuple[DrawnHole, ...]:
    """Place every hole, mark those whose rod does not pass, and draw their slots."""
    if detail.plate is None:
        return ()
    diameter = detail.plate.hole_diameter
    apart = np.hypot(*(built - holes).T) if plate_fit else np.zeros(len(holes))
    drawn = []
    for index, (rod, centre) in enumerate(zip(detail.rods, holes, strict=True)):
        x, y = view.points(centre[None])[0]
        slot = slots.get(rod.number)
        drawn.append(
            DrawnHole(
                x=round(float(x), 2),
                y=round(float(y), 2),
                radius=round(diameter / 2 * view.scale, 2),
                fouled=bool(apart[index] > (diameter - rod.diameter) / 2 + 1e-6),
                slot=_slot_path(view, centre, built[index], diameter, slot)
                if slot
                else "",
            )
        )
    return tuple(drawn)


def find_slot_remedy(results: ResultView, mark: str) -> Mapping[str, Any]:
    """The remedy that slots holes, where it is the one proposed; else nothing."""
    for finding in results.findings:
        if finding["finding"] == f"position:{mark}":
            first: Mapping[str, Any] = next(iter(finding["remedies"]), {})
            return first if first.get("remedy") == "slot" else {}
    return {}


def _slot_path(
    view: Viewport,
    hole: FloatArray,
    rod: FloatArray,
    diameter: float,
    slot: Mapping[str, Any],
) -> str:
    """Path of a hole lengthened towards its rod."""
    angle = slot.get("direction")
    if angle is None:
        angle = math.atan2(rod[1] - hole[1], rod[0] - hole[0])
    unit = np.array([math.cos(angle), math.sin(angle)])
    across = np.array([-unit[1], unit[0]]) * diameter / 2
    far = hole + unit * float(slot["extension"])
    a, b, c, d = view.points(
        np.array([hole + across, far + across, far - across, hole - across])
    )
    r = diameter / 2 * view.scale
    return (
        f"M{a[0]:.1f} {a[1]:.1f}L{b[0]:.1f} {b[1]:.1f}"
        f"A{r:.1f} {r:.1f} 0 0 1 {c[0]:.1f} {c[1]:.1f}"
        f"L{d[0]:.1f} {d[1]:.1f}A{r:.1f} {r:.1f} 0 0 1 {a[0]:.1f} {a[1]:.1f}Z"
    )
