"""One rigid move of the whole steel, or of one frame line, against the concrete.

A position is to be reworked when a rod of it is further from its moved place than its
*allowance*: the lesser of the rod tolerance and the hole's clearance. The move sought
leaves the fewest positions to rework; of such moves, the smallest worst miss
(distance less allowance, over the positions kept).

For the whole steel the search goes by conflicts. All rods of the positions kept are
fitted as one pattern (`plate.fit_plates`); if that fails, a few positions block it,
as in any problem of this kind [1]_, and one of them must go: checked by fitting the
few alone. The fewest positions that hit every conflict known are let go (a small
integer program), the rest is fitted, and so on until it fits: then no move keeps more.
The same, asking for a smaller worst miss, settles ties. Where that takes more than
`MOST_FITS` fits the best move met is given and `proven` is False. Along one axis
the positions are intervals, and the deepest overlap is exact.

References
----------
.. [1] J. Matousek, "On geometric optimization with few violated constraints",
   Discrete Comput. Geom. 14, 1995.
"""

from dataclasses import dataclass
from typing import Literal

import numpy as np

from checks.engine import steel_vote
from checks.engine.acceptance import SLACK_MM
from checks.engine.arrays import BoolArray, FloatArray
from checks.engine.errors import EngineError
from checks.engine.placing import PROOF_SLACK_MM
from checks.engine.plate import PlateFit, fit_plates

CLOSE_MM = 1e-5  # of the worst miss to its optimum
MOST_ROUNDS = 120
MOST_FITS = 200
MOST_NODES = 100  # of the integer program, each round
QUICK_FITS = 3
TIGHT_MM = (1e-5, 1e-3, 1e-1)  # how near to the overrun a rod counts as blocking

Effort = Literal["exact", "quick"]


@dataclass(frozen=True, slots=True, kw_only=True)
class SteelMove:
    """A move of the steel and what it does to every position (p,)."""

    shift_mm: FloatArray  # (2,) after the turn about `about_mm`
    turn_rad: float
    about_mm: FloatArray  # (2,) centroid of the planned places that were given
    miss_before_mm: FloatArray  # (p,) worst of distance less allowance
    miss_after_mm: FloatArray
    distance_after_mm: FloatArray  # (p, m) NaN where masked out
    rework_before: BoolArray  # (p,)
    rework_after: BoolArray
    proven: bool  # no move leaves fewer positions, nor a smaller worst miss

    @property
    def gains(self) -> int:
        """How many positions fewer there are to rework."""
        return int(self.rework_before.sum()) - int(self.rework_after.sum())


def fit_steel(
    planned_mm: FloatArray,
    rods_mm: FloatArray,
    allowance_mm: FloatArray,
    mask: BoolArray | None = None,
    *,
    effort: Effort = "exact",
    own_overrun_mm: FloatArray | None = None,
) -> SteelMove:
    """Move all the steel: a shift and a turn.

    Parameters
    ----------
    planned_mm : array, shape (p, m, 2)
        Where the plan, and so the steel, wants each rod of p positions; plan
        axes. [mm]
    rods_mm : array, shape (p, m, 2)
        As-built rods. [mm]
    allowance_mm : array, shape (p, m)
        How far a rod may be from its moved place before it is reworked. [mm]
    mask : array, shape (p, m), optional
        False where a position has no such rod, or none was measured. A position
        without rods is passed over: neither before nor after to rework, miss NaN.
    effort : "exact" or "quick"
        Whether to search until no better move can be, or to take the best of many
        candidates, which is soon done and nearly always as good; `proven` then only
        where every position that some move brings within is kept.
    own_overrun_mm : array, shape (p,), optional
        Of each position placed by itself as `fit_plates` does, where it is known. [mm]

    Returns
    -------
    SteelMove

    Raises
    ------
    EngineError
        If no position has a rod, or a number that counts is not finite.
    """
    grid = _Grid(planned_mm, rods_mm, allowance_mm, mask)
    can = _own_fit(grid) if own_overrun_mm is None else _able(grid, own_overrun_mm)
    if not can.any():
        return grid.move(np.zeros(2), 0.0, proven=True)
    if effort == "quick":
        kept, fit, proven = _quick(grid, can)
    else:
        search = _Search(grid, can)
        kept, proven = search.run().kept, search.proven
        fit = grid.fit(kept)
    return grid.move(fit.shift_mm[0], float(fit.turn_rad[0]), proven=proven, kept=kept)


def _quick(grid: "_Grid", can: BoolArray) -> tuple[BoolArray, PlateFit, bool]:
    """Positions to keep and their fit, by vote unless all that can be kept are."""
    fit = grid.fit(can, brief=True)
    if fit.overrun_mm[0] <= SLACK_MM:
        return can, fit, bool(fit.proven[0])
    use = grid.mask & can[:, None]
    ballot = steel_vote.Ballot(
        place=grid.planned[use] - grid.about,
        off=(grid.rods - grid.planned)[use],
        allowance=grid.allowance[use],
        start=np.append(0, np.cumsum(use[can].sum(axis=1))[:-1]),
    )
    kept = np.zeros_like(can)
    kept[can] = steel_vote.vote(ballot)
    if not kept.any():
        kept[int(can.argmax())] = True  # its own placement keeps it at least
    fit = grid.fit(kept, brief=True)
    for _ in range(QUICK_FITS):
        move = grid.move(
            fit.shift_mm[0], float(fit.turn_rad[0]), proven=False, kept=kept
        )
        within = grid.counts & ~move.rework_after
        if within.sum() <= kept.sum():
            break
        kept, fit = within, grid.fit(within, brief=True)
    return kept, fit, False


def fit_frame_line(
    planned_mm: FloatArray,
    rods_mm: FloatArray,
    allowance_mm: FloatArray,
    axis: FloatArray,
    mask: BoolArray | None = None,
) -> SteelMove:
    """Move the steel of one frame line along one axis, without a turn.

    Parameters
    ----------
    planned_mm, rods_mm, allowance_mm, mask : as `fit_steel`, of the line's positions.
    axis : array, shape (2,)
        Direction of the move, plan axes; its length does not matter.

    Returns
    -------
    SteelMove

    Raises
    ------
    EngineError
        As `fit_steel`, or if the axis has no length.
    """
    grid = _Grid(planned_mm, rods_mm, allowance_mm, mask)
    length = float(np.hypot(*np.asarray(axis, np.float64)))
    if not length > 0.0:
        raise EngineError("The axis of a frame line's move has a direction.")
    unit = np.asarray(axis, np.float64) / length
    off = grid.rods - grid.planned
    along = off @ unit
    across = np.abs(off @ np.array([-unit[1], unit[0]]))
    with np.errstate(invalid="ignore"):
        half = np.sqrt((grid.allowance + SLACK_MM) ** 2 - across**2)
    half = np.where(grid.allowance + SLACK_MM >= across, half, np.nan)
    low = np.where(grid.mask, along - half, -np.inf).max(axis=1)
    high = np.where(grid.mask, along + half, np.inf).min(axis=1)
    able = grid.counts & (low <= high)  # False where a rod is too far across
    best = 0.0
    if able.any():
        best = _deepest(grid, able, low, high, (along, across))
    return grid.move(best * unit, 0.0, proven=True)


def _deepest(
    grid: "_Grid",
    able: BoolArray,
    low: FloatArray,
    high: FloatArray,
    offsets: tuple[FloatArray, FloatArray],
) -> float:
    """The move (along the axis) that the most positions allow, worst miss least."""
    starts = np.unique(low[able])
    depth = (able & (low <= starts[:, None]) & (high >= starts[:, None])).sum(axis=1)
    best, least = 0.0, np.inf
    for start in starts[depth == depth.max()]:
        kept = able & (low <= start) & (high >= start)
        a, b = float(start), float(high[kept].min())
        use = grid.mask & kept[:, None]
        along, across = (v[use] for v in offsets)
        allowance = grid.allowance[use]
        # The worst miss is convex in the move: halve on the side it falls to.
        for _ in range(80):
            mid = 0.5 * (a + b)
            reach = np.hypot(along - mid, across)
            worst = int((reach - allowance).argmax())
            a, b = (mid, b) if along[worst] > mid else (a, mid)
        mid = 0.5 * (a + b)
        value = float((np.hypot(along - mid, across) - allowance).max())
        if value < least:
            best, least = mid, value
    return best


class _Grid:
    """The positions of a building, checked, about their common centroid."""

    def __init__(
        self,
        planned: FloatArray,
        rods: FloatArray,
        allowance: FloatArray,
        mask: BoolArray | None,
    ) -> None:
        self.planned = np.asarray(planned, np.float64)
        self.rods = np.asarray(rods, np.float64)
        self.allowance = np.asarray(allowance, np.float64)
        shape = self.allowance.shape
        if self.planned.shape != (*shape, 2) or self.rods.shape != (*shape, 2):
            raise ValueError(
                "planned_mm and rods_mm are (p, m, 2), allowance_mm (p, m)"
            )
        self.mask = np.ones(shape, np.bool_) if mask is None else mask
        self.counts = self.mask.any(axis=1)
        if not self.counts.any():
            raise EngineError("No rod of the steel was measured: measure some first.")
        used = (self.planned[self.mask], self.rods[self.mask])
        if not all(np.isfinite(v).all() for v in (*used, self.allowance[self.mask])):
            raise EngineError("A rod's place, or its allowance, is not a number.")
        self.about = self.planned[self.mask].mean(axis=0)

    def fit(self, kept: BoolArray, *, brief: bool = False) -> PlateFit:
        """Fit all rods of the kept positions (p,) as one pattern."""
        return fit_plates(
            self.planned[kept].reshape(1, -1, 2),
            self.rods[kept].reshape(1, -1, 2),
            self.allowance[kept].reshape(1, -1),
            self.mask[kept].reshape(1, -1),
            brief=brief,
        )

    def move(
        self,
        shift: FloatArray,
        turn: float,
        *,
        proven: bool,
        kept: BoolArray | None = None,
    ) -> SteelMove:
        """Tell what a shift (of the centroid of the kept positions) and turn do."""
        if kept is not None:
            centre = self.planned[self.mask & kept[:, None]].mean(axis=0)
            shift = shift + centre - self.about - _turn(centre - self.about, turn)
        moved = self.about + shift + _turn(self.planned - self.about, turn)
        before = np.hypot(*np.moveaxis(self.rods - self.planned, 2, 0))
        after = np.hypot(*np.moveaxis(self.rods - moved, 2, 0))
        miss_before, miss_after = self._miss(before), self._miss(after)
        return SteelMove(
            shift_mm=shift,
            turn_rad=turn,
            about_mm=self.about,
            miss_before_mm=miss_before,
            miss_after_mm=miss_after,
            distance_after_mm=np.where(self.mask, after, np.nan),
            rework_before=self.counts & (miss_before > SLACK_MM),
            rework_after=self.counts & (miss_after > SLACK_MM),
            proven=proven,
        )

    def _miss(self, distance: FloatArray) -> FloatArray:
        over = np.where(self.mask, distance - self.allowance, -np.inf).max(axis=1)
        out: FloatArray = np.where(self.counts, over, np.nan)
        return out


def _turn(points: FloatArray, turn: float) -> FloatArray:
    """Points (..., 2) turned counter-clockwise."""
    c, s = np.cos(turn), np.sin(turn)
    out: FloatArray = points @ np.array([[c, s], [-s, c]])
    return out


def _own_fit(grid: _Grid) -> BoolArray:
    """Positions (p,) that some move would bring within, taken by themselves."""
    overrun = np.full(grid.counts.shape, np.inf)
    at = np.flatnonzero(grid.counts)
    fit = fit_plates(grid.planned[at], grid.rods[at], grid.allowance[at], grid.mask[at])
    overrun[at] = fit.overrun_mm
    return _able(grid, overrun)


def _able(grid: _Grid, overrun_mm: FloatArray) -> BoolArray:
    able: BoolArray = grid.counts & (overrun_mm - PROOF_SLACK_MM <= SLACK_MM)
    return able


@dataclass(slots=True)
class _Leading:
    """The best set of positions to keep found so far."""

    kept: BoolArray  # (p,)
    worst: float  # [mm]


class _Search:
    """Which positions to let go: the fewest that hit every conflict known."""

    def __init__(self, grid: _Grid, can: BoolArray) -> None:
        self.grid, self.can = grid, can
        self.conflicts: list[BoolArray] = []
        self.proven = True
        self.fits = 0
        self.leading = _Leading(np.zeros_like(can), np.inf)

    def run(self) -> _Leading:
        """Find the most positions that can be kept, then their least worst miss."""
        for _ in range(MOST_ROUNDS):
            gone = self._fewest() if self.fits < MOST_FITS else None
            if gone is None:
                break
            most, lead = int((self.can & ~gone).sum()), int(self.leading.kept.sum())
            if most < lead:
                return self.leading
            self._try(self.can & ~gone, tie=most == lead)
        self.proven = False
        return self.leading

    def _try(self, kept: BoolArray, *, tie: bool) -> None:
        """Keep these; learn why not, and what could be kept instead."""
        while kept.any():
            fit = self.grid.fit(kept)
            self.fits += 1
            self.proven &= bool(fit.proven[0])
            self._consider(kept, fit)
            level = self.leading.worst - CLOSE_MM if tie else SLACK_MM
            if fit.overrun_mm[0] <= level:
                return
            blocks = self._blocking(kept, fit, level)
            self.conflicts.append(blocks)
            kept = kept & ~blocks

    def _consider(self, kept: BoolArray, fit: PlateFit) -> None:
        """Lead with what this placement keeps within, if that is more or closer."""
        turn, lead = float(fit.turn_rad[0]), self.leading
        move = self.grid.move(fit.shift_mm[0], turn, proven=False, kept=kept)
        within = self.grid.counts & ~move.rework_after
        more = int(within.sum()) - int(lead.kept.sum())
        if more < 0 or not within.any():
            return
        again = fit if (within == kept).all() else self.grid.fit(within)
        worst = float(again.overrun_mm[0])
        if more > 0 or worst < lead.worst:
            self.leading = _Leading(within, worst)

    def _blocking(self, kept: BoolArray, fit: PlateFit, level: float) -> BoolArray:
        """A few of the positions kept that cannot all stay, checked by themselves."""
        grid, over = self.grid, np.full(kept.shape, -np.inf)
        distance = fit.distance_mm[0].reshape(-1, grid.mask.shape[1])
        over[kept] = np.where(
            grid.mask[kept], distance - grid.allowance[kept], -np.inf
        ).max(axis=1)
        for tight in TIGHT_MM:
            some = kept & (over >= fit.overrun_mm[0] - tight)
            alone = self.grid.fit(some)
            if alone.proven[0] and alone.overrun_mm[0] - alone.gap_mm[0] > level:
                few: BoolArray = some
                return few
        everything: BoolArray = kept.copy()
        return everything

    def _fewest(self) -> BoolArray | None:
        """The fewest positions (p,) with one of every conflict; None if not found."""
        from scipy.optimize import Bounds, LinearConstraint, milp

        gone = np.zeros_like(self.can)
        if not self.conflicts:
            return gone
        rows = np.array(self.conflicts, dtype=np.float64)
        found = milp(
            np.ones(rows.shape[1]),
            constraints=LinearConstraint(rows, 1.0, np.inf),
            integrality=np.ones(rows.shape[1]),
            bounds=Bounds(0.0, 1.0),
            options={"node_limit": MOST_NODES},
        )
        if found.status != 0:
            return None
        return np.asarray(found.x > 0.5, dtype=np.bool_)
