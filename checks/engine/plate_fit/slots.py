"""Slots that a shop makes: along the plate's axes, the fewest and the shortest.

A hole opened into a slot along one of the plate's two axes takes its rod when the slot
reaches beyond the hole, on the rod's side, by the *extension*. The plate is placed
within the line tolerance and the turn of a column so that the fewest holes are opened,
and among such placements with the shortest longest slot: `slot_search` finds it.

What is ordered is longer: `INSTALLATION_CLEARANCE_MM` more at each end, and the whole
length rounded up to what a shop makes (`shop_sizes`).

      ordered length
    |<------------------------->|
    (    (  o  )           x    )      o hole as punched, x rod
    |<-->|                  |<->|      installation clearance, both ends

Edge distances are those of AISC 360-16 Table J3.4 (`fasteners.min_edge_distance_mm`),
taken from the centre of the slot's end. Lengths in mm, plate axes.
"""

from dataclasses import dataclass

import numpy as np

from checks.engine.arrays import BoolArray, FloatArray, IntArray
from checks.engine.conformity import SLACK_MM
from checks.engine.constants import INCH_MM
from checks.engine.fasteners import (
    PlateWasher,
    min_edge_distance_mm,
    select_plate_washer,
)
from checks.engine.plate_fit import slot_search
from checks.engine.shop_sizes import INCH_INCREMENT_MM, round_up_to_shop
from core.units import LengthStyle

# Holes this near the outermost one are in the same row, which is about a punch's
# accuracy. Project choice.
SAME_ROW_MM = 3.0
INSTALLATION_CLEARANCE_MM = INCH_MM / 16.0
"""Room at each end of a slot beyond the exact need. Project choice. [mm]"""


@dataclass(frozen=True, slots=True, kw_only=True)
class PlateSlots:
    """Holes of one plate to open, their extensions, and the plate's placement."""

    axis: IntArray  # (m,) 0 along, 1 in, -1 where not opened
    extension_mm: FloatArray  # (m,) zero where not opened
    direction_rad: FloatArray  # (m,) towards the rod: 0, pi or half of it, either way
    longest_mm: float
    shift_mm: FloatArray  # (2,) of the holes' centroid
    rotation_rad: float
    proven: bool  # every set of holes and axes was tried

    @property
    def is_opened(self) -> BoolArray:
        """True for a hole that is opened, (m,)."""
        out: BoolArray = np.asarray(self.axis != slot_search.ROUND)
        return out


@dataclass(frozen=True, slots=True, kw_only=True)
class SlotBatch:
    """Slots of many plates; members as in `PlateSlots`."""

    axis: IntArray  # (g, m)
    extension_mm: FloatArray  # (g, m)
    direction_rad: FloatArray  # (g, m)
    longest_mm: FloatArray  # (g,)
    shift_mm: FloatArray  # (g, 2)
    rotation_rad: FloatArray  # (g,)
    proven: BoolArray  # (g,)

    @property
    def is_opened(self) -> BoolArray:
        """True for a hole that is opened, (g, m)."""
        out: BoolArray = np.asarray(self.axis != slot_search.ROUND)
        return out

    def plate_slots(self, plate: int, rods: int | None = None) -> PlateSlots:
        """Return the slots of one plate, of its first holes where others only pad."""
        return PlateSlots(
            axis=self.axis[plate, :rods],
            extension_mm=self.extension_mm[plate, :rods],
            direction_rad=self.direction_rad[plate, :rods],
            longest_mm=float(self.longest_mm[plate]),
            shift_mm=self.shift_mm[plate],
            rotation_rad=float(self.rotation_rad[plate]),
            proven=bool(self.proven[plate]),
        )


def find_shortest_slots(
    holes_mm: FloatArray,
    rods_mm: FloatArray,
    clearance_mm: FloatArray,
    shift_limit_mm: FloatArray,
    rotation_limit_rad: float,
    *,
    increment_mm: float = INCH_INCREMENT_MM,
) -> PlateSlots:
    """Open the fewest holes of one plate along its axes, each as little as possible.

    Parameters
    ----------
    holes_mm, rods_mm : array, shape (m, 2)
        Hole and rod centres, same axes and order. [mm]
    clearance_mm : array, shape (m,)
        Half of hole less rod diameter. [mm]
    shift_limit_mm : array, shape (2,)
        Largest shift of the plate, either way along each axis. [mm]
    rotation_limit_rad : float
        Largest rotation, either way. [rad]
    increment_mm : float
        Lengths are ordered in whole increments. [mm]

    Returns
    -------
    PlateSlots
        With nothing opened where the plate goes on as it is, and where no slots help.

    Raises
    ------
    EngineError
        As `fit_plates`.
    """
    return find_shortest_slots_many(
        np.asarray(holes_mm)[None],
        np.asarray(rods_mm)[None],
        np.asarray(clearance_mm)[None],
        shift_limit_mm=np.asarray(shift_limit_mm)[None],
        rotation_limit_rad=np.full(1, rotation_limit_rad),
        increment_mm=increment_mm,
    ).plate_slots(0)


def find_shortest_slots_many(
    holes_mm: FloatArray,
    rods_mm: FloatArray,
    clearance_mm: FloatArray,
    mask: BoolArray | None = None,
    *,
    shift_limit_mm: FloatArray,
    rotation_limit_rad: FloatArray,
    increment_mm: float = INCH_INCREMENT_MM,
    known_short: bool = False,
) -> SlotBatch:
    """Open the fewest holes of each of many plates, each as little as possible.

    Parameters
    ----------
    holes_mm, rods_mm : array, shape (g, m, 2)
        Hole and rod centres, same axes and order. [mm]
    clearance_mm : array, shape (g, m)
        Half of hole less rod diameter. [mm]
    mask : array, shape (g, m), optional
        False where a plate has no such rod.
    shift_limit_mm : array, shape (g, 2)
        Largest shift of each plate, either way along each axis. [mm]
    rotation_limit_rad : array, shape (g,)
        Largest rotation of each plate, either way. [rad]
    increment_mm : float
        Lengths are ordered in whole increments. [mm]
    known_short : bool
        The caller knows that no plate goes on as it is: skip that test.

    Returns
    -------
    SlotBatch

    Raises
    ------
    EngineError
        As `fit_plates`.
    """
    real = np.ones(np.shape(clearance_mm), np.bool_) if mask is None else mask
    plates = slot_search.SlotPlates(
        holes_mm=np.where(real[..., None], holes_mm, 0.0),
        rods_mm=np.where(real[..., None], rods_mm, 0.0),
        clearance_mm=np.where(real, clearance_mm, 0.0),
        real=real,
        shift_limit_mm=np.asarray(shift_limit_mm, float),
        rotation_limit_rad=np.asarray(rotation_limit_rad, float),
    )
    solution = slot_search.open_fewest_holes(
        plates, increment_mm, known_short=known_short
    )
    return SlotBatch(
        axis=solution.axis,
        extension_mm=solution.extension,
        direction_rad=_slot_directions(plates, solution),
        longest_mm=solution.extension.max(axis=1, initial=0.0),
        shift_mm=solution.shift,
        rotation_rad=solution.rotation,
        proven=solution.proven,
    )


def _slot_directions(
    plates: slot_search.SlotPlates, solution: slot_search.SlotSolution
) -> FloatArray:
    """Return the direction of each slot, along its axis towards its rod. [rad]"""
    centre = plates.centroid()[:, None]
    c, s = np.cos(solution.rotation)[:, None], np.sin(solution.rotation)[:, None]
    x, y = np.moveaxis(plates.rods_mm - centre - solution.shift[:, None], 2, 0)
    hole = plates.holes_mm - centre
    gap_x, gap_y = c * x + s * y - hole[..., 0], c * y - s * x - hole[..., 1]
    along = np.where(gap_x >= 0.0, 0.0, np.pi)
    inward = np.where(gap_y >= 0.0, np.pi / 2.0, -np.pi / 2.0)
    out = np.where(solution.axis == slot_search.IN, inward, along)
    return np.where(solution.axis == slot_search.ROUND, 0.0, out)


@dataclass(frozen=True, slots=True, kw_only=True)
class OrderedSlots:
    """Slots as ordered, shape (m,). [mm]

    `ahead` and `behind` are how far the slot reaches beyond the hole on the rod's side
    and on the other; the length is hole, ahead and behind.
    """

    length: FloatArray
    ahead: FloatArray
    behind: FloatArray


def order_slots(
    hole_diameter_mm: FloatArray, extension_mm: FloatArray, style: LengthStyle
) -> OrderedSlots:
    """Add installation clearance at both ends, and round up to what a shop makes.

    Parameters
    ----------
    hole_diameter_mm, extension_mm : array, shape (m,)
        Width and exact extension of each slot; one of zero is not ordered. [mm]
    style : notation of the building's lengths, for the shop's increment.
    """
    hole = np.asarray(hole_diameter_mm, np.float64)
    exact = np.asarray(extension_mm, np.float64)
    opened = exact > 0.0
    behind = np.where(opened, INSTALLATION_CLEARANCE_MM, 0.0)
    length = np.where(
        opened, round_up_to_shop(hole + exact + 2.0 * behind, style), hole
    )
    return OrderedSlots(length=length, ahead=length - hole - behind, behind=behind)


def edge_after_slotting_mm(
    holes_mm: FloatArray,
    extension_mm: FloatArray,
    direction_rad: FloatArray,
    edge_distance_mm: float,
    behind_mm: FloatArray | float = 0.0,
) -> FloatArray:
    """Compute the edge distance that each slot leaves, from its end's centre.

    A hole of an outermost row of the pattern has an edge on its outward side, at the
    detail's edge distance. A hole inside the pattern has none: infinity is returned.

    Parameters
    ----------
    holes_mm : array, shape (m, 2)
        Hole centres, plate axes. [mm]
    extension_mm, direction_rad : array, shape (m,)
        Of each slot, zero where the hole is not opened. [mm], [rad]
    edge_distance_mm : float
        Of the detail, hole centre to plate edge. [mm]
    behind_mm : float, or array, shape (m,)
        Length of each slot beyond its hole on the other side. [mm]

    Returns
    -------
    array, shape (m,)
        [mm]
    """
    holes = np.asarray(holes_mm, np.float64)
    unit = np.stack((np.cos(direction_rad), np.sin(direction_rad)), axis=1)
    ahead = np.asarray(extension_mm, np.float64)[:, None] * unit
    behind = -np.broadcast_to(behind_mm, len(holes))[:, None] * unit
    left = np.full(holes.shape[0], np.inf)
    for side in (1.0, -1.0):
        outermost = (side * holes).max(axis=0) - side * holes <= SAME_ROW_MM
        outward = np.maximum(np.maximum(side * ahead, side * behind), 0.0)
        here = np.where(outermost, edge_distance_mm - outward, np.inf)
        left = np.minimum(left, here.min(axis=1))
    return left


def slots_keep_edge(remaining_mm: FloatArray, rod_diameter_mm: FloatArray) -> bool:
    """Check that every slot leaves the edge distance of AISC 360-16 Table J3.4.

    Parameters
    ----------
    remaining_mm : array, shape (m,)
        Result of `edge_after_slotting_mm`. NaN: not known, and so not enough. [mm]
    rod_diameter_mm : array, shape (m,)
        [mm]
    """
    needed = np.array(
        [min_edge_distance_mm(float(d)) for d in np.ravel(rod_diameter_mm)]
    )
    return bool((np.asarray(remaining_mm) >= needed - SLACK_MM).all())


def edge_after_reaming_mm(
    hole_diameter_mm: float, hole_needed_mm: float, edge_distance_mm: float
) -> float:
    """Compute the edge distance that enlarged holes leave, counted as for a slot.

    The centre stays, but the metal to the edge shrinks by half of what the diameter
    grows. That half is taken off, which is on the safe side of the table (project
    choice).

    Parameters
    ----------
    hole_diameter_mm, hole_needed_mm : float
        Diameters as punched and as enlarged. [mm]
    edge_distance_mm : float
        Of the detail, hole centre to plate edge. [mm]
    """
    return edge_distance_mm - max(0.0, hole_needed_mm - hole_diameter_mm) / 2.0


def select_slot_washer(length_mm: float, rod_diameter_mm: float) -> PlateWasher:
    """Select the smallest plate washer that covers a slot, the rod at either end.

    Parameters
    ----------
    length_mm : float
        Length of the slot. [mm]
    rod_diameter_mm : float
        [mm]
    """
    return select_plate_washer(length_mm, rod_diameter_mm)
