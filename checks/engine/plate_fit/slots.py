"""Shortest slots, opening only the holes that do not take their rods.

A hole opened into a slot towards its rod takes the rod when the slot is longer than
the hole by |rod - placed hole| - clearance, the *extension*. The plate is placed so
that the fewest holes are opened, and among such placements with the least longest
extension: `slot_search` finds it.

Edge distances are those of AISC 360-16 Table J3.4 (`fasteners.min_edge_distance_mm`),
taken from the centre of the slot's far end. Lengths in mm, plate axes.
"""

from dataclasses import dataclass

import numpy as np

from checks.engine.arrays import BoolArray, FloatArray
from checks.engine.conformity import SLACK_MM
from checks.engine.fasteners import (
    PlateWasher,
    min_edge_distance_mm,
    select_plate_washer,
)
from checks.engine.plate_fit import slot_search

# Holes this near the outermost one are in the same row, which is about a punch's
# accuracy. Project choice.
SAME_ROW_MM = 3.0


@dataclass(frozen=True, slots=True, kw_only=True)
class PlateSlots:
    """Holes of one plate to open, their extensions, and the plate's placement."""

    opened: BoolArray  # (m,)
    extension_mm: FloatArray  # (m,) zero where not opened
    direction_rad: FloatArray  # (m,) plate axes, counter-clockwise from x
    longest_mm: float
    shift_mm: FloatArray  # (2,) of the holes' centroid
    rotation_rad: float
    proven: bool  # no fewer holes, and no shorter longest slot, would do


@dataclass(frozen=True, slots=True, kw_only=True)
class SlotBatch:
    """Slots of many plates; members as in `PlateSlots`."""

    opened: BoolArray  # (g, m)
    extension_mm: FloatArray  # (g, m)
    direction_rad: FloatArray  # (g, m)
    longest_mm: FloatArray  # (g,)
    shift_mm: FloatArray  # (g, 2)
    rotation_rad: FloatArray  # (g,)
    proven: BoolArray  # (g,)

    def plate_slots(self, plate: int) -> PlateSlots:
        """Return the slots of one plate."""
        return PlateSlots(
            opened=self.opened[plate],
            extension_mm=self.extension_mm[plate],
            direction_rad=self.direction_rad[plate],
            longest_mm=float(self.longest_mm[plate]),
            shift_mm=self.shift_mm[plate],
            rotation_rad=float(self.rotation_rad[plate]),
            proven=bool(self.proven[plate]),
        )


def find_shortest_slots(
    holes_mm: FloatArray,
    rods_mm: FloatArray,
    clearance_mm: FloatArray,
    shift_limit_mm: FloatArray | None = None,
) -> PlateSlots:
    """Open the fewest holes of one plate, each as little as possible.

    Parameters
    ----------
    holes_mm, rods_mm : array, shape (m, 2)
        Hole and rod centres, same axes and order. [mm]
    clearance_mm : array, shape (m,)
        Half of hole less rod diameter. [mm]
    shift_limit_mm : array, shape (2,), optional
        Largest shift of the plate, either way along each axis. [mm]

    Returns
    -------
    Slots
        With nothing opened where the plate goes on as it is.

    Raises
    ------
    EngineError
        As `fit_plates`.
    """
    limit = None if shift_limit_mm is None else np.asarray(shift_limit_mm)[None]
    return find_shortest_slots_many(
        np.asarray(holes_mm)[None],
        np.asarray(rods_mm)[None],
        np.asarray(clearance_mm)[None],
        shift_limit_mm=limit,
    ).plate_slots(0)


def find_shortest_slots_many(
    holes_mm: FloatArray,
    rods_mm: FloatArray,
    clearance_mm: FloatArray,
    mask: BoolArray | None = None,
    shift_limit_mm: FloatArray | None = None,
    *,
    prove: bool = True,
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
    shift_limit_mm : array, shape (g, 2), optional
        Largest shift of each plate, either way along each axis. [mm]
    prove : bool
        Search every rotation of each plate. Otherwise the nearest valley is searched
        to its bottom and the others briefly, and `proven` is False wherever something
        is opened.
    known_short : bool
        The caller knows that no plate goes on as it is: skip that test.

    Returns
    -------
    ManySlots

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
        limit_mm=None if shift_limit_mm is None else np.asarray(shift_limit_mm, float),
    )
    solution = slot_search.open_fewest_holes(
        plates, prove=prove, known_short=known_short
    )
    return _measure_slots(plates, solution)


def _measure_slots(
    plates: slot_search.SlotPlates, solution: slot_search.SlotSolution
) -> SlotBatch:
    """Compute length and direction of each slot from the plates' placements."""
    centre = plates.centroid()[:, None]
    c, s = np.cos(solution.rotation)[:, None], np.sin(solution.rotation)[:, None]
    x, y = np.moveaxis(plates.rods_mm - centre - solution.shift[:, None], 2, 0)
    hole = plates.holes_mm - centre
    gap_x, gap_y = c * x + s * y - hole[..., 0], c * y - s * x - hole[..., 1]
    over = np.maximum(np.hypot(gap_x, gap_y) - plates.clearance_mm, 0.0)
    extension = np.where(solution.opened, over, 0.0)
    return SlotBatch(
        opened=solution.opened & (extension > 0.0),
        extension_mm=extension,
        direction_rad=np.where(solution.opened, np.arctan2(gap_y, gap_x), 0.0),
        longest_mm=extension.max(axis=1, initial=0.0),
        shift_mm=solution.shift,
        rotation_rad=solution.rotation,
        proven=solution.proven,
    )


def edge_after_slotting_mm(
    holes_mm: FloatArray,
    extension_mm: FloatArray,
    direction_rad: FloatArray,
    edge_distance_mm: float,
) -> FloatArray:
    """Compute the edge distance that each slot leaves, from its far end's centre.

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

    Returns
    -------
    array, shape (m,)
        [mm]
    """
    holes = np.asarray(holes_mm, np.float64)
    reach = np.asarray(extension_mm, np.float64)[:, None] * np.stack(
        (np.cos(direction_rad), np.sin(direction_rad)), axis=1
    )
    left = np.full(holes.shape[0], np.inf)
    for side in (1.0, -1.0):
        outermost = (side * holes).max(axis=0) - side * holes <= SAME_ROW_MM
        outward = np.maximum(side * reach, 0.0)
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


def select_slot_washer(
    hole_diameter_mm: float, extension_mm: float, rod_diameter_mm: float
) -> PlateWasher:
    """Select the smallest plate washer that covers a slot, the rod at either end.

    Parameters
    ----------
    hole_diameter_mm : float
        Width of the slot. [mm]
    extension_mm : float
        Length of the slot beyond the hole. [mm]
    rod_diameter_mm : float
        [mm]
    """
    return select_plate_washer(hole_diameter_mm + extension_mm, rod_diameter_mm)
