"""Search for the holes to open: the fewest, then those with the shortest slots.

With a set of holes opened, the others are *shut*: their rods must be within their
clearance. A set is sufficient if the shut holes alone, the rest ignored, let their
rods in somewhere within the plate's limits. Two shut holes whose distance differs from
their rods' by more than both clearances rule a set out at once. Each of the smallest
sufficient sets is placed so that the largest excess of its opened holes is least while
the shut ones are held: one problem of `plate.fit_plates`, for all sets of all plates
together.

Every set is tried for up to `MAX_ENUMERATED_HOLES` holes. With more, the hole whose
opening helps most is opened, one after another, and `proven` is False.
"""

from dataclasses import dataclass, replace
from itertools import combinations

import numpy as np

from checks.engine.arrays import BoolArray, FloatArray, IntArray
from checks.engine.conformity import SLACK_MM
from checks.engine.errors import EngineError
from checks.engine.plate_fit.plate import COUNTED, FREE, HELD, PlateFit, fit_plates

MAX_ENUMERATED_HOLES = 12  # 4095 sets; each further hole doubles them
MAX_SETS_AT_ONCE = 2_000  # with more sets, each number of holes is tried by itself
# Interference of shut holes that still counts as none: half of what `fit_plates`
# allows a held rod, so that a set found sufficient can also be held.
SHUT_TOLERANCE_MM = 2.5e-7
BISECTION_ROUNDS = 60  # as many as a float's digits allow


@dataclass(frozen=True, slots=True, kw_only=True)
class SlotPlates:
    """Plates (g, m) of holes and rods; `real` is False for a rod that only pads."""

    holes_mm: FloatArray  # (g, m, 2)
    rods_mm: FloatArray  # (g, m, 2)
    clearance_mm: FloatArray  # (g, m)
    real: BoolArray  # (g, m)
    limit_mm: FloatArray | None  # (g, 2)

    def take(self, at: IntArray) -> "SlotPlates":
        """Return the plates at these indices, repeated as often as they are named."""
        return SlotPlates(
            holes_mm=self.holes_mm[at],
            rods_mm=self.rods_mm[at],
            clearance_mm=self.clearance_mm[at],
            real=self.real[at],
            limit_mm=None if self.limit_mm is None else self.limit_mm[at],
        )

    def centroid(self) -> FloatArray:
        """Compute the centroid of each plate's holes, (g, 2)."""
        holes = np.where(self.real[..., None], self.holes_mm, 0.0)
        out: FloatArray = holes.sum(axis=1) / self.real.sum(axis=1)[:, None]
        return out

    def fit(
        self,
        role: IntArray | None = None,
        threshold_mm: float | None = None,
        start: tuple[FloatArray, FloatArray] | None = None,
        *,
        brief: bool = False,
    ) -> PlateFit:
        """Fit each plate as `fit_plates` does."""
        return fit_plates(
            self.holes_mm,
            self.rods_mm,
            self.clearance_mm,
            self.real,
            self.limit_mm,
            role=role,
            threshold_mm=threshold_mm,
            start=start,
            brief=brief,
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class SlotSolution:
    """Holes to open, and the placement of each plate with them opened."""

    opened: BoolArray  # (g, m)
    rotation: FloatArray  # (g,)
    shift: FloatArray  # (g, 2)
    proven: BoolArray  # (g,)


def open_fewest_holes(
    plates: SlotPlates, *, prove: bool, known_short: bool = False
) -> SlotSolution:
    """Open the fewest holes of each plate, none where it goes on as it is.

    Parameters
    ----------
    plates : SlotPlates
        Plates (g,). [mm]
    prove : bool
        Prove that no other rotation needs a shorter slot.
    known_short : bool
        The caller knows that no plate goes on as it is: skip that test.
    """
    g, m = plates.real.shape
    if g and not plates.real.any(axis=1).all():
        raise EngineError("A plate without rods cannot be fitted: measure its rods.")
    solution = SlotSolution(
        opened=np.zeros((g, m), np.bool_),
        rotation=np.zeros(g),
        shift=np.zeros((g, 2)),
        proven=np.zeros(g, np.bool_),
    )
    if g == 0:
        return solution
    unfit = np.ones(g, np.bool_)
    solution.proven[:] = True
    if not known_short:
        fit = plates.fit(threshold_mm=SLACK_MM, brief=not prove)
        solution.rotation[:], solution.shift[:] = fit.rotation_rad, fit.shift_mm
        solution.proven[:] = fit.proven
        unfit = fit.interference_mm > SLACK_MM
    enumerable = plates.real.sum(axis=1) <= MAX_ENUMERATED_HOLES
    for at in np.flatnonzero(unfit & ~enumerable):
        _open_greedily(plates.take(np.array([at])), solution, int(at))
    todo = np.flatnonzero(unfit & enumerable)
    most = int(plates.real[todo].sum(axis=1).max(initial=0))
    together = todo.size << most <= MAX_SETS_AT_ONCE
    counts = list(range(1, most + 1))
    # Most plates need a single hole opened; larger sets are then never tried.
    bands = [counts[:1], counts[1:]] if together else [[n] for n in counts]
    for band in bands:
        todo = _open_count(plates, solution, todo, band, prove=prove)
    return solution


def _open_count(
    plates: SlotPlates,
    solution: SlotSolution,
    todo: IntArray,
    band: list[int],
    *,
    prove: bool,
) -> IntArray:
    """Open as many holes as `band` allows; return the plates that need more."""
    if todo.size == 0 or not band:
        return todo
    plate, sets = _list_hole_sets(plates.real, todo, band)
    keep = _pairs_compatible(plates, plate, sets)
    plate, sets = plate[keep], sets[keep]
    if plate.size == 0:
        return todo
    plate, sets = _select_smallest_sets(plates, solution, plate, sets, brief=not prove)
    if plate.size:
        _minimise_extension(plates, solution, plate, sets, prove=prove)
    return np.setdiff1d(todo, plate)


def _list_hole_sets(
    real: BoolArray, todo: IntArray, band: list[int]
) -> tuple[IntArray, BoolArray]:
    """List every set of so many real holes: its plate (n,) and the set (n, m)."""
    sets_by_mask: dict[bytes, BoolArray] = {}
    for row in real[todo]:
        if row.tobytes() not in sets_by_mask:
            holes = np.flatnonzero(row).tolist()
            chosen = [c for count in band for c in combinations(holes, count)]
            some = np.zeros((len(chosen), row.size), dtype=np.bool_)
            for each, opened in zip(some, chosen, strict=True):
                each[list(opened)] = True
            sets_by_mask[row.tobytes()] = some
    parts = [sets_by_mask[row.tobytes()] for row in real[todo]]
    return np.repeat(todo, [len(part) for part in parts]), np.concatenate(parts)


def _pairs_compatible(
    plates: SlotPlates, plate: IntArray, sets: BoolArray
) -> BoolArray:
    """Return the sets (n,) that no pair of shut holes rules out."""
    used = np.unique(plate)
    some = plates.take(used)
    distances = [
        np.linalg.norm(v[:, :, None] - v[:, None], axis=3)
        for v in (some.holes_mm, some.rods_mm)
    ]
    clearance_sum = (
        some.clearance_mm[:, :, None] + some.clearance_mm[:, None] + 2.0 * SLACK_MM
    )
    with np.errstate(invalid="ignore"):
        bad = np.abs(distances[0] - distances[1]) > clearance_sum
    shut = (plates.real[plate] & ~sets).astype(np.float64)
    clash = bad[np.searchsorted(used, plate)].astype(np.float64)
    out: BoolArray = np.einsum("ni,nij,nj->n", shut, clash, shut) == 0.0
    return out


def _select_smallest_sets(
    plates: SlotPlates,
    solution: SlotSolution,
    plate: IntArray,
    sets: BoolArray,
    *,
    brief: bool,
) -> tuple[IntArray, BoolArray]:
    """Select each plate's sufficient sets that open the fewest holes.

    First each set is tried from the plate's present placement. Those that failed and
    open fewer holes than the ones found are then searched at every rotation. A plate
    with a set that could be shown neither sufficient nor insufficient is marked as not
    proven.
    """
    count = sets.sum(axis=1)
    will = _shut_holes_fit(plates, plate, sets, np.inf, brief=brief)[0]
    least = np.full(plates.real.shape[0], sets.shape[1] + 1)
    np.minimum.at(least, plate[will], count[will])
    doubt = np.flatnonzero(~will & (count < least[plate]))
    will[doubt], sure = _shut_holes_fit(
        plates, plate[doubt], sets[doubt], SHUT_TOLERANCE_MM, brief=brief
    )
    solution.proven[plate[doubt[~sure]]] = False
    np.minimum.at(least, plate[will], count[will])
    keep = will & (count == least[plate])
    return plate[keep], sets[keep]


def _shut_holes_fit(
    plates: SlotPlates,
    plate: IntArray,
    sets: BoolArray,
    level_mm: float,
    *,
    brief: bool,
) -> tuple[BoolArray, BoolArray]:
    """Return the sets (n,) whose shut holes let their rods in, and which are certain.

    Searched as `fit_plates` does for its threshold: at infinity, not beyond the
    nearest valley.
    """
    will, sure = np.ones(plate.size, np.bool_), np.ones(plate.size, np.bool_)
    at = np.flatnonzero((plates.real[plate] & ~sets).any(axis=1))
    if at.size == 0:
        return will, sure
    some, role = plates.take(plate[at]), np.where(sets[at], FREE, COUNTED)
    fit = replace(some, limit_mm=None).fit(role, level_mm, brief=brief)
    will[at], sure[at] = fit.interference_mm <= SHUT_TOLERANCE_MM, fit.proven
    if some.limit_mm is not None:
        beyond = will[at] & (np.abs(fit.shift_mm) > some.limit_mm).any(axis=1)
        outside = np.flatnonzero(beyond)
        start = (fit.rotation_rad[outside], fit.shift_mm[outside])
        limited = some.take(outside).fit(role[outside], level_mm, start, brief=brief)
        will[at[outside]], sure[at[outside]] = (
            limited.interference_mm <= SHUT_TOLERANCE_MM,
            limited.proven,
        )
    return will, sure


def _minimise_extension(
    plates: SlotPlates,
    solution: SlotSolution,
    plate: IntArray,
    sets: BoolArray,
    *,
    prove: bool,
) -> None:
    """Choose the set of each plate with the least longest extension."""
    some = plates.take(plate)
    role = np.where(sets, COUNTED, HELD)
    fit = some.fit(role, None if prove else np.inf)
    failed = np.flatnonzero(~np.isfinite(fit.interference_mm))
    if failed.size:
        _bisect_extension(some.take(failed), sets[failed], fit, failed)
    order = np.lexsort((fit.interference_mm, plate))
    used, first = np.unique(plate[order], return_index=True)
    pick = order[first]
    solution.opened[used] = sets[pick]
    solution.rotation[used], solution.shift[used] = (
        fit.rotation_rad[pick],
        fit.shift_mm[pick],
    )
    sure = fit.proven & prove
    solution.proven[used] &= np.logical_and.reduceat(sure[order], first)


def _bisect_extension(
    some: SlotPlates, sets: BoolArray, fit: PlateFit, failed: IntArray
) -> None:
    """Find the extension by bisection and write it into the rows `lost` of `fit`.

    For sets whose shut holes the solver could not hold, though a placement exists.
    """
    reach = np.abs(some.rods_mm - some.holes_mm).max(axis=(1, 2), initial=0.0)
    span = np.ptp(some.holes_mm, axis=1).max(axis=1) + reach
    low, high = (
        np.zeros(failed.size),
        4.0 * span + np.abs(some.clearance_mm).max(axis=1),
    )
    for _ in range(BISECTION_ROUNDS):
        middle = 0.5 * (low + high)
        wider = some.clearance_mm + sets * middle[:, None]
        does = replace(some, clearance_mm=wider).fit().interference_mm <= SLACK_MM / 2.0
        high, low = np.where(does, middle, high), np.where(does, low, middle)
    wider = some.clearance_mm + sets * high[:, None]
    last = replace(some, clearance_mm=wider).fit()
    fit.interference_mm[failed] = high
    fit.rotation_rad[failed], fit.shift_mm[failed] = last.rotation_rad, last.shift_mm
    fit.proven[failed] = last.proven


def _open_greedily(plate: SlotPlates, solution: SlotSolution, at: int) -> None:
    """Open the hole whose opening helps most, until the one plate goes on.

    With many holes the number of sets explodes; the result is good, not proved.
    """
    opened = np.zeros(plate.real.shape[1], np.bool_)
    holes = plate.real[0]
    while opened.sum() < holes.sum() - 1:
        rows = np.flatnonzero(holes & ~opened)
        sets = np.repeat(opened[None], rows.size, axis=0)
        sets[np.arange(rows.size), rows] = True
        some = plate.take(np.zeros(rows.size, int))
        interference = some.fit(
            np.where(sets, FREE, COUNTED), SHUT_TOLERANCE_MM
        ).interference_mm
        opened = sets[int(interference.argmin())]
        if interference.min() <= SHUT_TOLERANCE_MM:
            break
    else:
        opened = holes
    one = SlotSolution(
        opened=solution.opened[at : at + 1],
        rotation=solution.rotation[at : at + 1],
        shift=solution.shift[at : at + 1],
        proven=solution.proven[at : at + 1],
    )
    _minimise_extension(plate, one, np.zeros(1, int), opened[None], prove=False)
