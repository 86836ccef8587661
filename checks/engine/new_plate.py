"""A base plate punched to the rods as built: holes, edges, size and what is left.

The column stands at its planned place, so the holes stand where the rods do, in the
column's own axes:

        in ^   far edge
           |  +----------------+        planned edges: outermost planned holes and the
           |  |  o          o  |        detail's edge distance; an edge moves outward
      left |  |                | right  where a hole comes too near to it
           |  |  o          o  |
           |  +----------------+ near edge
        ---+--------|----------------> along (steel line)
              0,0   reference line
              of the shop

The shop lays out from the plate's first corner (left, near) to whole increments. What
the rounding takes of a hole's clearance is computed, and where it would take more than
half, the next finer increment is used. Least edge distances are those of AISC 360
Table J3.4, least spacing and clear distance those of AISC 360 J3.3, both seen
second-hand (the tables are for bolts in standard holes: a screen, not a design).
Lengths in mm.
"""

from dataclasses import dataclass

import numpy as np

from checks.engine import fasteners
from checks.engine.arrays import FloatArray
from checks.engine.conformity import SLACK_MM
from checks.engine.shop_sizes import get_shop_increment, round_up_to_shop
from core.units import LengthStyle

MAX_SHARE_OF_CLEARANCE = 0.5
"""Most of a hole's clearance that the shop's rounding may take; project choice."""

INCH_STEPS, METRIC_STEPS = (1.0, 0.5, 0.25), (1.0, 0.5, 0.1)
"""Increments tried, in shop increments: 1/16, 1/32 and 1/64 in; 1, 0.5 and 0.1 mm."""

MIN_SPACING_DIAMETERS = 8.0 / 3.0
"""Least distance between hole centres, AISC 360 J3.3, in rod diameters."""

MIN_CLEAR_DIAMETERS = 1.0
"""Least clear distance between two holes, AISC 360 J3.3, in rod diameters."""

SIDES = ("left", "near", "right", "far")
"""Edges of the plate in the order of its four distances, seen from above."""


@dataclass(frozen=True, slots=True, kw_only=True)
class PlatePattern:
    """A detail's holes as drawn, and the rods they have to take. [mm]

    `edge_distance` and `thickness` are NaN where the detail does not give them.
    """

    planned: FloatArray  # (m, 2) along and in, from reference line and steel line
    rods: FloatArray  # (m, 2) as built, same axes and order
    diameter: FloatArray  # (m,)
    hole_diameter: float
    edge_distance: float = float("nan")
    thickness: float = float("nan")


@dataclass(frozen=True, slots=True, kw_only=True)
class NewPlate:
    """A plate punched to the rods as built. [mm]

    Attributes
    ----------
    holes : (m, 2) along and in, as the shop makes them.
    exact, ordinates : (m, 2) from the plate's first corner (left, near): exact, and
        rounded for the shop.
    edges : (4,) left and right along, near and far inward, in the order of `SIDES`.
    planned_edges : (4,) of the plate as drawn; NaN without an edge distance.
    growth : (4,) how far each edge moved outward from the plate as drawn; 0 without.
    increment : that the ordinates are rounded to.
    clearance : (m,) round each rod in its hole before rounding.
    clearance_left : (m,) of it behind the rounding, the plate at its planned place.
    edge_left, edge_needed : (m,) from each hole to the nearest edge, and Table J3.4.
    spacing, clear : the least distance between hole centres, and between holes; NaN
        for a single hole.
    spacing_needed, clear_needed : of the pair of holes with the least to spare.
    eccentricity : (2,) mean of the holes from the mean of the planned ones.
    """

    holes: FloatArray
    exact: FloatArray
    ordinates: FloatArray
    edges: FloatArray
    planned_edges: FloatArray
    growth: FloatArray
    hole_diameter: float
    thickness: float
    increment: float
    clearance: FloatArray
    clearance_left: FloatArray
    edge_left: FloatArray
    edge_needed: FloatArray
    spacing: float
    spacing_needed: float
    clear: float
    clear_needed: float
    moved: FloatArray
    eccentricity: FloatArray

    @property
    def size(self) -> FloatArray:
        """Along and in, shape (2,). [mm]"""
        size: FloatArray = self.edges[2:] - self.edges[:2]
        return size

    @property
    def edges_known(self) -> bool:
        """True if the detail gives the edge distance that its outline follows from."""
        return not bool(np.isnan(self.planned_edges).any())

    @property
    def goes_over(self) -> bool:
        """True if every rod passes its hole as the shop makes it."""
        return bool((self.clearance_left >= -SLACK_MM).all())

    @property
    def spacing_allows(self) -> bool:
        """True if no two holes are nearer to each other than AISC 360 J3.3 allows."""
        return not (
            self.spacing < self.spacing_needed - SLACK_MM
            or self.clear < self.clear_needed - SLACK_MM
        )


def punch_to_rods(pattern: PlatePattern, style: LengthStyle) -> NewPlate:
    """Lay out a plate whose holes stand where the rods do.

    Parameters
    ----------
    pattern : PlatePattern
        Holes as drawn and rods as built, all determined. [mm]
    style : LengthStyle
        Notation of the building's lengths: the shop rounds to 1/16 in, or to 1 mm on
        a metric plan.

    Raises
    ------
    ValueError
        If a rod is not determined.
    """
    if not np.isfinite(pattern.rods).all():
        raise ValueError("A plate is punched only to rods that are all determined.")
    needed = np.array(
        [fasteners.min_edge_distance_mm(size) for size in pattern.diameter.tolist()]
    )
    planned_edges = outline_edges(pattern.planned, np.array(pattern.edge_distance))
    start = _first_outline(pattern, needed, planned_edges, style)
    exact = pattern.rods - start[:2]
    clearance = (pattern.hole_diameter - pattern.diameter) / 2.0
    increment, ordinates = _round_for_shop(exact, clearance, style)
    holes = start[:2] + ordinates
    growth = _grow(holes, needed, start, style)
    edges = start + growth * np.array([-1.0, -1.0, 1.0, 1.0])
    spacing = _least_spacing(holes, pattern.diameter, pattern.hole_diameter)
    return NewPlate(
        holes=holes,
        exact=pattern.rods - edges[:2],
        ordinates=holes - edges[:2],
        edges=edges,
        planned_edges=planned_edges,
        growth=growth if np.isfinite(planned_edges).all() else np.zeros(4),
        hole_diameter=pattern.hole_diameter,
        thickness=pattern.thickness,
        increment=increment,
        clearance=clearance,
        clearance_left=clearance - np.hypot(*(holes - pattern.rods).T),
        edge_left=_distances_to_edges(holes, edges).min(axis=1),
        edge_needed=needed,
        spacing=spacing[0],
        spacing_needed=spacing[1],
        clear=spacing[2],
        clear_needed=spacing[3],
        moved=np.hypot(*(pattern.rods - pattern.planned).T),
        eccentricity=pattern.rods.mean(axis=0) - pattern.planned.mean(axis=0),
    )


def outline_edges(holes_mm: FloatArray, edge_mm: FloatArray) -> FloatArray:
    """Return the edges of the least rectangle around holes, shape (4,). [mm]

    Parameters
    ----------
    holes_mm : array, shape (m, 2)
        Hole centres, along and in. [mm]
    edge_mm : array, shape () or (m,)
        From each hole to the edges next to it. [mm]

    Returns
    -------
    array, shape (4,)
        In the order of `SIDES`: left and near at the low end, right and far at the
        high end. [mm]
    """
    reach = np.broadcast_to(edge_mm, len(holes_mm))[:, None]
    low, high = (holes_mm - reach).min(axis=0), (holes_mm + reach).max(axis=0)
    edges: FloatArray = np.concatenate([low, high])
    return edges


def _first_outline(
    pattern: PlatePattern,
    needed: FloatArray,
    planned_edges: FloatArray,
    style: LengthStyle,
) -> FloatArray:
    """Return the edges before any of them moves: as drawn, or else the least plate.

    A detail without an edge distance does not say how large its plate is. The least
    one keeps Table J3.4 at the planned holes and at the rods.
    """
    if np.isfinite(planned_edges).all():
        return planned_edges
    reach = round_up_to_shop(needed, style)
    around = np.concatenate([pattern.planned, pattern.rods])
    return outline_edges(around, np.concatenate([reach, reach]))


def _round_for_shop(
    exact: FloatArray, clearance: FloatArray, style: LengthStyle
) -> tuple[float, FloatArray]:
    """Round to the coarsest increment that leaves enough of every clearance."""
    for step in METRIC_STEPS if style == "metric" else INCH_STEPS:
        increment = step * get_shop_increment(style)
        rounded = np.round(exact / increment) * increment
        taken = np.hypot(*(rounded - exact).T)
        if (taken <= MAX_SHARE_OF_CLEARANCE * clearance + SLACK_MM).all():
            break
    return increment, rounded


def _distances_to_edges(holes: FloatArray, edges: FloatArray) -> FloatArray:
    """Return each hole's distance to the four edges, (m, 4), inside positive. [mm]"""
    distances: FloatArray = np.concatenate(
        [holes - edges[:2], edges[2:] - holes], axis=1
    )
    return distances


def _grow(
    holes: FloatArray, needed: FloatArray, edges: FloatArray, style: LengthStyle
) -> FloatArray:
    """Return how far each edge has to move outward, in whole shop increments, (4,)."""
    short = (needed[:, None] - _distances_to_edges(holes, edges)).max(axis=0)
    return round_up_to_shop(np.maximum(short, 0.0), style)


def _least_spacing(
    holes: FloatArray, diameter: FloatArray, hole_diameter: float
) -> tuple[float, float, float, float]:
    """Return the least spacing and clear distance, each with what it has to be.

    Both are of the pair with the least to spare; of two sizes the larger counts.
    """
    first, second = np.triu_indices(len(holes), 1)
    if not first.size:
        return float("nan"), float("nan"), float("nan"), float("nan")
    apart = np.hypot(*(holes[first] - holes[second]).T)
    size = np.maximum(diameter[first], diameter[second])
    clear = apart - hole_diameter
    tight = int(np.argmin(apart - MIN_SPACING_DIAMETERS * size))
    near = int(np.argmin(clear - MIN_CLEAR_DIAMETERS * size))
    return (
        float(apart[tight]),
        float(MIN_SPACING_DIAMETERS * size[tight]),
        float(clear[near]),
        float(MIN_CLEAR_DIAMETERS * size[near]),
    )
