"""The numbers of a fit-up: plates, rods as built, and what the steel may do.

Position p has its planned centre P_p (the centroid of its holes), holes h_pi about it
and rods as built r_pi, in its own axes along and in; rho_pi = r_pi - P_p - h_pi is the
deviation of a rod from its hole's planned place. The plate may shift by s_p and turn by
alpha_p, the steel grid as a whole by g = (g_x, g_y) and phi about its middle, so that
the grid is displaced at p by G_p = g + phi J (P_p - middle), J the quarter turn.
Lengths in mm, angles in rad counter-clockwise.
"""

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from checks.engine.arrays import BoolArray, FloatArray, IntArray


@dataclass(frozen=True, slots=True, kw_only=True)
class FitUpLimits:
    """Limits of the fit-up. [mm, rad]

    Attributes
    ----------
    line : shift of a plate against the grid, along each axis of its position.
    turn : turn of a plate against the grid.
    grid : movement of the grid square to each wall, and of its furthest position by its
        turn.
    """

    line: float
    turn: float
    grid: float


@dataclass(frozen=True, kw_only=True)
class FitUpProblem:
    """Plates and rods of n positions of up to m rods, and k pairs of them.

    Attributes
    ----------
    holes : (n, m, 2) hole centres about their centroid, along and in. [mm]
    rods : (n, m, 2) deviation of each rod from its hole's planned place. [mm]
    clearance : (n, m) half of hole less rod diameter. [mm]
    real : (n, m) False where a position has no such rod.
    axes : (n, 2, 2) unit vectors along and in of each position, plan axes.
    arm : (n, 2) movement of each centre per unit of the grid's turn, plan axes. [mm]
    reach : distance of the furthest position from the middle of the grid. [mm]
    walls : (w, 2) unit vectors square to the walls, plan axes, one for each direction.
    pairs : (k, 2) positions whose distance has a limit: bays and frames.
    direction : (k, 2) unit vector of that distance, plan axes.
    pair_limit : (k,) limit of the change of that distance. [mm]
    """

    holes: FloatArray
    rods: FloatArray
    clearance: FloatArray
    real: BoolArray
    axes: FloatArray
    arm: FloatArray
    reach: float
    walls: FloatArray
    pairs: IntArray
    direction: FloatArray
    pair_limit: FloatArray
    limits: FitUpLimits

    def __len__(self) -> int:
        return len(self.holes)

    @cached_property
    def radius(self) -> FloatArray:
        """Distance of each plate's furthest hole from its centre, (n,). [mm]

        At least 1 mm: a plate with one hole needs a number, and its turn does nothing.
        """
        reach = np.hypot(self.holes[..., 0], self.holes[..., 1])
        reach = np.where(self.real, reach, 0.0).max(axis=1, initial=0.0)
        return np.asarray(np.maximum(reach, 1.0))

    def with_rods(self, rods: FloatArray) -> "FitUpProblem":
        """Return the same problem with other rods, (n, m, 2). [mm]"""
        return replace(self, rods=rods)

    def with_clearance(self, clearance: FloatArray) -> "FitUpProblem":
        """Return the same problem with other clearances, (n, m). [mm]"""
        return replace(self, clearance=clearance)

    def copy_positions(self, positions: IntArray, pairs: IntArray) -> "FitUpProblem":
        """Return positions side by side, each as often as it is named.

        Parameters
        ----------
        positions : array of int, shape (c,)
            Positions to copy, in this order.
        pairs : array of int, shape (k,)
            Pairs to keep; the copies of pair i are in places 2 i and 2 i + 1.
        """
        return replace(
            self,
            holes=self.holes[positions],
            rods=self.rods[positions],
            clearance=self.clearance[positions],
            real=self.real[positions],
            axes=self.axes[positions],
            arm=self.arm[positions],
            pairs=np.arange(2 * len(pairs)).reshape(-1, 2),
            direction=self.direction[pairs],
            pair_limit=self.pair_limit[pairs],
        )

    def select_positions(self, positions: IntArray) -> "FitUpProblem":
        """Return some positions and the pairs among them, on the same grid.

        Parameters
        ----------
        positions : array of int, shape (c,)
            Positions to keep, in this order, each once.
        """
        place = np.full(len(self), -1)
        place[positions] = np.arange(positions.size)
        ends = place[self.pairs]
        kept = (ends >= 0).all(axis=1)
        return replace(
            self.copy_positions(positions, np.flatnonzero(kept)), pairs=ends[kept]
        )


def compute_grid_arms(centre: FloatArray) -> tuple[FloatArray, float]:
    """Compute how a turn of the grid about its middle moves the plates' centres.

    The middle is their mean. At least 1 mm of reach is returned.

    Parameters
    ----------
    centre : array, shape (n, 2)
        Planned centres of the plates, plan axes. [mm]

    Returns
    -------
    arm : array, shape (n, 2)
        Movement per unit of turn. [mm]
    reach : float
        Its largest size. [mm]
    """
    arm = rotate_quarter(centre - centre.mean(axis=0))
    return arm, max(float(np.hypot(arm[:, 0], arm[:, 1]).max()), 1.0)


def rotate_quarter(points: FloatArray) -> FloatArray:
    """Rotate points (..., 2) by a quarter turn counter-clockwise."""
    return np.stack((-points[..., 1], points[..., 0]), axis=-1)
