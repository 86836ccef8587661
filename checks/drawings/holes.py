"""Drawing of the base plate and its holes, at the best fit, with proposed slots."""

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Self

import numpy as np

from checks.drawings.result_view import ResultView
from checks.evaluation.finding_topics import FindingTopic, TopicKind
from core.svg import FloatArray, Viewport, path_data
from core.vocabulary import RemedyKind
from jobs.anchor_plan.values import Detail
from jobs.exchange.result.document import PlatePlacementResult
from jobs.exchange.result.findings import RemedyResult, SlotResult
from jobs.plans.plan_drawing import plate_bounds


@dataclass(frozen=True, slots=True, kw_only=True)
class DrawnHole:
    """A hole of the plate where it fits best."""

    x: float
    y: float
    radius: float
    fouled: bool  # the rod does not pass
    slot: str = ""  # path data of the proposed slot


@dataclass(frozen=True, slots=True)
class PlatePlacement:
    """Place of a plate: rotation about the middle of its holes, then a shift."""

    shift_along: float  # [mm]
    shift_in: float  # [mm]
    rotation: float  # counter-clockwise [rad]

    @classmethod
    def from_result(
        cls, row: PlatePlacementResult | RemedyResult | None
    ) -> Self | None:
        """Return the placement a plate fit or a remedy has; None where it has none."""
        if row is None:
            return None
        along, inward = row.get("shift_along"), row.get("shift_in")
        rotation = row.get("turn")
        if along is None or inward is None or rotation is None:
            return None
        return cls(along, inward, rotation)


def place_holes(planned: FloatArray, placement: PlatePlacement | None) -> FloatArray:
    """Compute the hole centres of a placed plate.

    Parameters
    ----------
    planned : array, shape (n_rods, 2)
        Planned rod centres, which the holes are punched for. [mm]
    placement : PlatePlacement, optional
        None leaves the holes where the plan has them.

    Returns
    -------
    array, shape (n_rods, 2)
        Hole centres, along and in. [mm]
    """
    return _place_points(planned, planned.mean(axis=0), placement)


def _place_points(
    points: FloatArray, middle: FloatArray, placement: PlatePlacement | None
) -> FloatArray:
    """Rotate points of the plate about its middle, then shift them. [mm]"""
    if placement is None:
        return points
    cosine, sine = math.cos(placement.rotation), math.sin(placement.rotation)
    rotated = (points - middle) @ np.array([[cosine, sine], [-sine, cosine]])
    shift = np.array([placement.shift_along, placement.shift_in])
    return np.asarray(middle + rotated + shift)


def draw_plate(
    planned: FloatArray,
    detail: Detail,
    placement: PlatePlacement | None,
    view: Viewport,
) -> str:
    """Draw the edges of the plate, from the outermost holes and the edge distance."""
    edges = plate_bounds(detail)
    if edges is None:
        return ""
    left, low, right, high = edges
    corners = np.array([[left, low], [right, low], [right, high], [left, high]])
    placed = _place_points(corners, planned.mean(axis=0), placement)
    return path_data(view.points(placed), closed=True)


def draw_holes(
    view: Viewport,
    detail: Detail,
    holes: FloatArray,
    built: FloatArray,
    placement: PlatePlacement | None,
    slots: Mapping[int, SlotResult],
) -> tuple[DrawnHole, ...]:
    """Draw every hole, marked where its rod does not pass, with its proposed slot."""
    if detail.plate is None:
        return ()
    diameter = detail.plate.hole_diameter
    apart = np.hypot(*(built - holes).T) if placement else np.zeros(len(holes))
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
                slot=_slot_path(view, (centre, built[index]), diameter, slot, placement)
                if slot
                else "",
            )
        )
    return tuple(drawn)


def find_slot_remedy(results: ResultView, mark: str) -> RemedyResult | None:
    """Return the remedy that slots holes at a position, where it is the proposal."""
    topic = FindingTopic.for_subject(TopicKind.POSITION, mark)
    for finding in results.findings:
        if finding["finding"] == topic:
            proposal = next(iter(finding["remedies"]), None)
            if proposal and proposal["remedy"] == RemedyKind.SLOT:
                return proposal
    return None


def _slot_path(
    view: Viewport,
    ends: tuple[FloatArray, FloatArray],
    diameter: float,
    slot: SlotResult,
    placement: PlatePlacement | None,
) -> str:
    """Write the path of a slot as ordered, from hole and rod; it turns with its plate.

    A slot stored before its ends were ordered reaches as far as its exact need.
    """
    hole, rod = ends
    angle = slot["direction"]
    if angle is None:
        angle = math.atan2(rod[1] - hole[1], rod[0] - hole[0])
    elif placement is not None:
        angle += placement.rotation
    unit = np.array([math.cos(angle), math.sin(angle)])
    across = np.array([-unit[1], unit[0]]) * diameter / 2
    far = hole + unit * (slot.get("ahead", slot["extension"]) or 0.0)
    near = hole - unit * (slot.get("behind") or 0.0)
    a, b, c, d = view.points(
        np.array([near + across, far + across, far - across, near - across])
    )
    r = diameter / 2 * view.scale
    return (
        f"M{a[0]:.1f} {a[1]:.1f}L{b[0]:.1f} {b[1]:.1f}"
        f"A{r:.1f} {r:.1f} 0 0 1 {c[0]:.1f} {c[1]:.1f}"
        f"L{d[0]:.1f} {d[1]:.1f}A{r:.1f} {r:.1f} 0 0 1 {a[0]:.1f} {a[1]:.1f}Z"
    )
