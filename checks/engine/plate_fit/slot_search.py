"""Search for the holes to slot, each along one of the plate's two axes.

Among all sets of holes, and for each hole either axis, the fewest holes are opened with
which the plate goes on within its limits; among those, the ones whose longest slot is
shortest. Longest slots that a shop orders alike count as equal: then slots along one
axis come first, and after them the shortest by its exact need.

A hole that stays round holds its rod along both axes, a slotted one across its axis
alone. Two holes that hold along an axis rule a set out where their rods' distance along
it differs too much from their own, at every rotation within the limit; so does one hole
whose rod the shift cannot reach. `slot_programme` decides what that leaves.

Every set is tried for up to `MAX_MIXED_HOLES` holes, and up to `MAX_ENUMERATED_HOLES`
every set with all its slots along one axis. With more, all holes are opened along one
axis. `proven` is False where not every set was tried.
"""

from dataclasses import dataclass
from functools import cache
from itertools import combinations, product

import numpy as np

from checks.engine.arrays import BoolArray, FloatArray, IntArray
from checks.engine.conformity import SLACK_MM
from checks.engine.errors import EngineError
from checks.engine.plate_fit import slot_programme
from checks.engine.plate_fit.plate import PlateFit, fit_plates

ALONG, IN, ROUND = 0, 1, -1  # axes of the plate; a hole that stays round

MAX_MIXED_HOLES = 6  # 728 sets with either axis for each hole
MAX_ENUMERATED_HOLES = 12  # 8190 sets with one axis for all
FITS_MM = 2.5e-7  # beyond its clearance a rod still counts as within
TURNS = 9  # rotations at which pairs of holes are compared, within the limit
MIN_EXTENSION_MM = 1e-6  # a slot shorter than this is a round hole


@dataclass(frozen=True, slots=True, kw_only=True)
class SlotPlates:
    """Plates (g, m) of holes and rods; `real` is False for a rod that only pads."""

    holes_mm: FloatArray  # (g, m, 2)
    rods_mm: FloatArray  # (g, m, 2)
    clearance_mm: FloatArray  # (g, m)
    real: BoolArray  # (g, m)
    shift_limit_mm: FloatArray  # (g, 2)
    rotation_limit_rad: FloatArray  # (g,)

    def centroid(self) -> FloatArray:
        """Compute the centroid of each plate's holes, (g, 2)."""
        holes = np.where(self.real[..., None], self.holes_mm, 0.0)
        out: FloatArray = holes.sum(axis=1) / self.real.sum(axis=1)[:, None]
        return out

    def with_slots(
        self, plate: IntArray, axis: IntArray
    ) -> slot_programme.SlottedPlates:
        """Return plates (n,) with the slots of each set, axis (n, m)."""
        centre = self.centroid()[plate, None]
        holes, rods = self.holes_mm[plate] - centre, self.rods_mm[plate] - centre
        unit = np.stack((axis == ALONG, axis == IN)).astype(np.float64)
        # A padded rod repeats the first real one as a round hole would: it adds none.
        first = self.real.argmax(axis=1)[plate]
        use = np.where(self.real[plate], np.arange(axis.shape[1]), first[:, None])
        row = np.arange(plate.size)[:, None]
        return slot_programme.SlottedPlates(
            holes=_rods_first(holes[row, use]),
            rods=_rods_first(rods[row, use]),
            clearance=np.ascontiguousarray(
                self.clearance_mm[plate][row, use].T + FITS_MM
            ),
            axis=np.ascontiguousarray(unit[:, row, use].transpose(0, 2, 1)),
            shift_limit=np.ascontiguousarray(self.shift_limit_mm[plate].T),
            rotation_limit=self.rotation_limit_rad[plate],
        )


def _rods_first(points: FloatArray) -> FloatArray:
    """Return points (n, m, 2) as (2, m, n)."""
    return np.ascontiguousarray(points.transpose(2, 1, 0))


@dataclass(frozen=True, slots=True, kw_only=True)
class SlotSolution:
    """Axis and extension of each hole's slot, and the placement of each plate."""

    axis: IntArray  # (g, m) `ROUND` where not opened
    extension: FloatArray  # (g, m) [mm]
    rotation: FloatArray  # (g,)
    shift: FloatArray  # (g, 2)
    proven: BoolArray  # (g,)


def open_fewest_holes(
    plates: SlotPlates, increment_mm: float, *, known_short: bool = False
) -> SlotSolution:
    """Open the fewest holes of each plate, none where it goes on as it is.

    Parameters
    ----------
    plates : SlotPlates
        Plates (g,). [mm]
    increment_mm : float
        Lengths are ordered in whole increments. [mm]
    known_short : bool
        The caller knows that no plate goes on as it is: skip that test.
    """
    g, m = plates.real.shape
    if g and not plates.real.any(axis=1).all():
        raise EngineError("A plate without rods cannot be fitted: measure its rods.")
    solution = SlotSolution(
        axis=np.full((g, m), ROUND),
        extension=np.zeros((g, m)),
        rotation=np.zeros(g),
        shift=np.zeros((g, 2)),
        proven=np.zeros(g, np.bool_),
    )
    if g == 0:
        return solution
    todo = np.arange(g)
    if not known_short:
        as_punched = _fit_as_punched(plates)
        solution.rotation[:] = as_punched.rotation_rad
        solution.shift[:] = as_punched.shift_mm
        solution.proven[:] = as_punched.proven
        todo = np.flatnonzero(as_punched.interference_mm > SLACK_MM)
    solution.proven[todo] = plates.real[todo].sum(axis=1) <= MAX_MIXED_HOLES
    for count in range(1, m + 1):
        if todo.size == 0:
            break
        todo = _open_count(plates, solution, todo, count, increment_mm)
    return solution


def _fit_as_punched(plates: SlotPlates) -> PlateFit:
    """Fit each plate within its limits, as far as to show whether it goes on."""
    return fit_plates(
        plates.holes_mm,
        plates.rods_mm,
        plates.clearance_mm,
        plates.real,
        plates.shift_limit_mm,
        plates.rotation_limit_rad,
        threshold_mm=SLACK_MM,
    )


def _open_count(
    plates: SlotPlates,
    solution: SlotSolution,
    todo: IntArray,
    count: int,
    increment_mm: float,
) -> IntArray:
    """Open so many holes; return the plates that need more."""
    plate, axis = _list_sets(plates, todo, count)
    if plate.size == 0:
        return todo
    slotted = plates.with_slots(plate, axis)
    open_placement = slot_programme.place_open_slots(slotted)
    excess = slotted.excess(open_placement.rotation, open_placement.shift)
    at = np.flatnonzero(excess <= FITS_MM)
    if at.size == 0:
        return todo
    start = slot_programme.SlottedPlacement(
        open_placement.rotation[at],
        open_placement.shift[:, at],
        open_placement.converged[at],
    )
    plate, axis, slotted = plate[at], axis[at], slotted.take(at)
    placed = slot_programme.shorten_slots(slotted, start)
    # A programme that ended outside its limits by rounding keeps its start.
    lost = slotted.excess(placed.rotation, placed.shift) > 4.0 * FITS_MM
    rotation = np.where(lost, start.rotation, placed.rotation)
    shift = np.where(lost, start.shift, placed.shift)
    extension = slotted.extension(rotation, shift).T
    order = _rank_sets(plate, axis, extension, increment_mm)
    used, first = np.unique(plate[order], return_index=True)
    pick = order[first]
    opened = extension[pick] > MIN_EXTENSION_MM
    solution.axis[used] = np.where(opened, axis[pick], ROUND)
    solution.extension[used] = np.where(opened, extension[pick], 0.0)
    solution.rotation[used], solution.shift[used] = rotation[pick], shift[:, pick].T
    return np.setdiff1d(todo, used)


def _rank_sets(
    plate: IntArray, axis: IntArray, extension: FloatArray, increment_mm: float
) -> IntArray:
    """Return the order of the sets: by plate, the best set of each first."""
    longest = np.ceil((extension.max(axis=1) - SLACK_MM) / increment_mm)
    mixed = (axis == ALONG).any(axis=1) & (axis == IN).any(axis=1)
    exact = extension.max(axis=1)
    return np.lexsort((extension.sum(axis=1), exact, mixed, longest, plate))


def _list_sets(
    plates: SlotPlates, todo: IntArray, count: int
) -> tuple[IntArray, IntArray]:
    """List the sets of so many holes that may do: plate (n,) and axis (n, m)."""
    patterns: dict[bytes, list[int]] = {}
    for plate in todo.tolist():
        patterns.setdefault(plates.real[plate].tobytes(), []).append(plate)
    found_plates, found_axes = [], []
    for members in patterns.values():
        holes = np.flatnonzero(plates.real[members[0]])
        sets = _axis_sets(len(holes), count)
        if sets.size == 0:
            continue
        axis = np.full((len(sets), plates.real.shape[1]), ROUND)
        axis[:, holes] = sets
        at = np.array(members)
        may = _may_hold(plates, at, axis)
        which, pick = np.nonzero(may)
        found_plates.append(at[which])
        found_axes.append(axis[pick])
    if not found_plates:
        return np.zeros(0, np.int64), np.zeros((0, plates.real.shape[1]), np.int64)
    return np.concatenate(found_plates), np.concatenate(found_axes)


@cache
def _axis_sets(holes: int, count: int) -> IntArray:
    """List the axes (n, holes) of every set of so many slotted holes."""
    if count > holes or (holes > MAX_ENUMERATED_HOLES and count < holes):
        return np.zeros((0, holes), np.int64)
    mixed = holes <= MAX_MIXED_HOLES
    choices = (
        product((ALONG, IN), repeat=count)
        if mixed
        else ((axis,) * count for axis in (ALONG, IN))
    )
    axes = list(choices)
    rows = []
    for opened in combinations(range(holes), count):
        for chosen in axes:
            row = [ROUND] * holes
            for hole, axis in zip(opened, chosen, strict=True):
                row[hole] = axis
            rows.append(row)
    return np.array(rows, np.int64)


def _may_hold(plates: SlotPlates, at: IntArray, axis: IntArray) -> BoolArray:
    """Return which sets (n, m) no pair of holes rules out, per plate (g, n)."""
    real = plates.real[at]
    centre = plates.centroid()[at, None]
    holes = np.where(real[..., None], plates.holes_mm[at] - centre, 0.0)
    rods = np.where(real[..., None], plates.rods_mm[at] - centre, 0.0)
    clearance = np.where(real, plates.clearance_mm[at], 0.0)
    limit = plates.rotation_limit_rad[at]
    # Between two of the rotations compared a rod moves by no more than this.
    between = np.hypot(rods[..., 0], rods[..., 1]) * limit[:, None] / (TURNS - 1)
    room = clearance + between + SLACK_MM
    turn = limit[:, None] * np.linspace(-1.0, 1.0, TURNS)
    c, s = np.cos(turn)[:, :, None], np.sin(turn)[:, :, None]
    x, y = rods[:, None, :, 0], rods[:, None, :, 1]
    gap = (
        np.stack((c * x + s * y, c * y - s * x)) - holes.transpose(2, 0, 1)[:, :, None]
    )
    # The largest shift along either axis, whichever way the plate is turned.
    shift = np.hypot(*plates.shift_limit_mm[at].T)
    out = np.ones((at.size, len(axis), TURNS), np.bool_)
    for own in (ALONG, IN):
        apart = np.abs(gap[own][..., :, None] - gap[own][..., None, :])
        clash = apart > (room[:, :, None] + room[:, None])[:, None]
        lone = np.abs(gap[own]) > (room + shift[:, None])[:, None]
        clash |= lone[..., :, None]
        clash &= (real[:, :, None] & real[:, None])[:, None]
        held = (axis != own).astype(np.float64)
        count = np.einsum("ni,gtij,nj->gnt", held, clash.astype(np.float64), held)
        out &= count == 0.0
    found: BoolArray = np.asarray(out.any(axis=2))
    return found
