"""Exact search for the positions to release so that one shift serves all others.

All rods of the positions kept are fitted as one pattern (`plate.fit_plates`). If that
fails, a few positions conflict, as in any problem of this kind [1]_, and one of them
must be released; the conflict is confirmed by fitting the few alone. The fewest
positions that hit every known conflict are released (a small integer program), the rest
is fitted, and so on until it fits: then no shift keeps more. The same, demanding a
smaller worst excess, settles ties. Where that takes more than `MAX_FITS` fits, the best
shift seen is returned and `proven` is False.

References
----------
.. [1] J. Matousek, "On geometric optimization with few violated constraints",
   Discrete Comput. Geom. 14, 1995.
"""

from dataclasses import dataclass

import numpy as np

from checks.engine.arrays import BoolArray
from checks.engine.conformity import SLACK_MM
from checks.engine.plate_fit.plate import PlateFit
from checks.engine.steel_shift.grid import SteelGrid

TIE_TOLERANCE_MM = 1e-5  # least gain in worst excess that settles a tie
MAX_ROUNDS = 120
MAX_FITS = 200
MAX_MILP_NODES = 100  # of the integer program, each round
# How near to the interference a rod counts as blocking: few first, then more.
BLOCKING_MARGINS_MM = (1e-5, 1e-3, 1e-1)


@dataclass(slots=True)
class BestPositions:
    """Best set of positions to keep, found so far."""

    kept: BoolArray  # (p,)
    worst: float  # [mm]


class ExactSearch:
    """Search for the fewest positions that hit every known conflict."""

    def __init__(self, grid: SteelGrid, fittable: BoolArray) -> None:
        self.grid, self.fittable = grid, fittable
        self.conflicts: list[BoolArray] = []
        self.proven = True
        self.fits = 0
        self.best = BestPositions(np.zeros_like(fittable), np.inf)

    def run(self) -> BestPositions:
        """Find the most positions that can be kept, then their least worst excess."""
        for _ in range(MAX_ROUNDS):
            released = self._fewest_to_release() if self.fits < MAX_FITS else None
            if released is None:
                break
            possible = int((self.fittable & ~released).sum())
            reached = int(self.best.kept.sum())
            if possible < reached:
                return self.best
            self._try_positions(self.fittable & ~released, tie=possible == reached)
        self.proven = False
        return self.best

    def _try_positions(self, kept: BoolArray, *, tie: bool) -> None:
        """Try to keep these positions; record conflicts until the rest fits."""
        while kept.any():
            fit = self.grid.fit_positions(kept)
            self.fits += 1
            self.proven &= bool(fit.proven[0])
            self._consider_shift(kept, fit)
            level = self.best.worst - TIE_TOLERANCE_MM if tie else SLACK_MM
            if fit.interference_mm[0] <= level:
                return
            blocks = self._find_blocking(kept, fit, level)
            self.conflicts.append(blocks)
            kept = kept & ~blocks

    def _consider_shift(self, kept: BoolArray, fit: PlateFit) -> None:
        """Update the best set if this placement keeps more, or the same closer."""
        rotation, best = float(fit.rotation_rad[0]), self.best
        shift = self.grid.evaluate_shift(
            fit.shift_mm[0], rotation, proven=False, kept=kept
        )
        within = self.grid.counts & ~shift.rework_after
        more = int(within.sum()) - int(best.kept.sum())
        if more < 0 or not within.any():
            return
        refit = fit if (within == kept).all() else self.grid.fit_positions(within)
        worst = float(refit.interference_mm[0])
        if more > 0 or worst < best.worst:
            self.best = BestPositions(within, worst)

    def _find_blocking(self, kept: BoolArray, fit: PlateFit, level: float) -> BoolArray:
        """Find a few kept positions that conflict, confirmed by themselves.

        The fewer they are, the sharper the conflict; all kept positions are the
        fallback, which always holds.
        """
        grid, over = self.grid, np.full(kept.shape, -np.inf)
        distance = fit.distance_mm[0].reshape(-1, grid.mask.shape[1])
        over[kept] = np.where(
            grid.mask[kept], distance - grid.allowance[kept], -np.inf
        ).max(axis=1)
        for margin in BLOCKING_MARGINS_MM:
            conflict: BoolArray = kept & (over >= fit.interference_mm[0] - margin)
            alone = self.grid.fit_positions(conflict)
            # Only the proved bound counts: a false conflict would release too many.
            if alone.proven[0] and alone.interference_mm[0] - alone.gap_mm[0] > level:
                return conflict
        everything: BoolArray = kept.copy()
        return everything

    def _fewest_to_release(self) -> BoolArray | None:
        """Find the fewest positions (p,) that hit every conflict; None if not found."""
        from scipy.optimize import Bounds, LinearConstraint, milp

        released = np.zeros_like(self.fittable)
        if not self.conflicts:
            return released
        rows = np.array(self.conflicts, dtype=np.float64)
        found = milp(
            np.ones(rows.shape[1]),
            constraints=LinearConstraint(rows, 1.0, np.inf),
            integrality=np.ones(rows.shape[1]),
            bounds=Bounds(0.0, 1.0),
            options={"node_limit": MAX_MILP_NODES},
        )
        if found.status != 0:
            return None
        return np.asarray(found.x > 0.5, dtype=np.bool_)
