"""The positions of a building as one grid of steel, and the effect of a shift.

A position needs rework when a rod of it is further from its shifted place than its
*allowance*. Lengths in mm, plan axes; p positions of m rods.
"""

from dataclasses import dataclass

import numpy as np

from checks.engine.arrays import BoolArray, FloatArray
from checks.engine.conformity import SLACK_MM
from checks.engine.errors import EngineError
from checks.engine.plate_fit.plate import PlateFit, fit_plates


@dataclass(frozen=True, slots=True, kw_only=True)
class SteelShift:
    """A shift of the steel and its effect on every position (p,)."""

    shift_mm: FloatArray  # (2,) after the rotation about `rotation_centre_mm`
    rotation_rad: float
    rotation_centre_mm: FloatArray  # (2,) centroid of the planned rods
    excess_before_mm: FloatArray  # (p,) worst of distance less allowance
    excess_after_mm: FloatArray
    distance_after_mm: FloatArray  # (p, m) NaN where masked out
    rework_before: BoolArray  # (p,)
    rework_after: BoolArray
    proven: bool  # no shift leaves fewer positions, nor a smaller worst excess

    @property
    def positions_saved(self) -> int:
        """Number of positions that no longer need rework."""
        return int(self.rework_before.sum()) - int(self.rework_after.sum())


class SteelGrid:
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
            raise EngineError("A rod's position, or its allowance, is not a number.")
        self.centroid = self.planned[self.mask].mean(axis=0)

    def fit_positions(self, kept: BoolArray, *, brief: bool = False) -> PlateFit:
        """Fit all rods of the kept positions (p,) as one pattern."""
        return fit_plates(
            self.planned[kept].reshape(1, -1, 2),
            self.rods[kept].reshape(1, -1, 2),
            self.allowance[kept].reshape(1, -1),
            self.mask[kept].reshape(1, -1),
            brief=brief,
        )

    def evaluate_shift(
        self,
        shift: FloatArray,
        rotation: float,
        *,
        proven: bool,
        kept: BoolArray | None = None,
    ) -> SteelShift:
        """Compute the effect of a shift and rotation on every position.

        With `kept`, the shift is that of the centroid of those positions.
        """
        if kept is not None:
            centre = self.planned[self.mask & kept[:, None]].mean(axis=0)
            shift = (
                shift
                + centre
                - self.centroid
                - _rotate(centre - self.centroid, rotation)
            )
        moved = self.centroid + shift + _rotate(self.planned - self.centroid, rotation)
        before = np.hypot(*np.moveaxis(self.rods - self.planned, 2, 0))
        after = np.hypot(*np.moveaxis(self.rods - moved, 2, 0))
        miss_before, miss_after = self._worst_excess(before), self._worst_excess(after)
        return SteelShift(
            shift_mm=shift,
            rotation_rad=rotation,
            rotation_centre_mm=self.centroid,
            excess_before_mm=miss_before,
            excess_after_mm=miss_after,
            distance_after_mm=np.where(self.mask, after, np.nan),
            rework_before=self.counts & (miss_before > SLACK_MM),
            rework_after=self.counts & (miss_after > SLACK_MM),
            proven=proven,
        )

    def _worst_excess(self, distance: FloatArray) -> FloatArray:
        over = np.where(self.mask, distance - self.allowance, -np.inf).max(axis=1)
        out: FloatArray = np.where(self.counts, over, np.nan)
        return out


def _rotate(points: FloatArray, rotation: float) -> FloatArray:
    """Rotate points (..., 2) counter-clockwise."""
    c, s = np.cos(rotation), np.sin(rotation)
    out: FloatArray = points @ np.array([[c, s], [-s, c]])
    return out
