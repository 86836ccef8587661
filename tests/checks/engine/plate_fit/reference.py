"""Plate fit, slow and plain: scan all rotations, solve each with SciPy.

The same question as `checks.engine.plate_fit.plate`, answered without any of its
methods: no interior point, no active set, no dual bound. At a fixed rotation the best
shift is a convex problem in three unknowns, which SciPy's sequential quadratic
programming solves; the rotation is scanned over the whole circle, and every valley of
the scan is followed to its bottom by a bounded scalar search. A fit takes some seconds.
"""

from dataclasses import dataclass

import numpy as np
from scipy.optimize import minimize, minimize_scalar

SCANNED_ROTATIONS = 180
FOLLOWED_VALLEYS = 6  # the deepest ones of the scan
NEAR_ROTATIONS = 9  # of a second scan, inside each valley


@dataclass(frozen=True)
class ReferenceFit:
    """The best placement of one plate. [mm], [rad]"""

    interference_mm: float
    rotation_rad: float
    shift_mm: np.ndarray


def rotate(points: np.ndarray, rotation_rad: float) -> np.ndarray:
    """Rotate points (m, 2) counter-clockwise about the origin."""
    c, s = np.cos(rotation_rad), np.sin(rotation_rad)
    return points @ np.array([[c, s], [-s, c]])


def fit_plate_reference(
    holes: np.ndarray,
    rods: np.ndarray,
    clearance: np.ndarray,
    shift_limit: np.ndarray | None = None,
) -> ReferenceFit:
    """Place one plate so that its worst hole misses its rod by the least.

    `holes` and `rods` are (m, 2), `clearance` (m,), `shift_limit` (2,) or None. [mm]
    """
    centre = holes.mean(axis=0)
    holes, rods = holes - centre, rods - centre

    def least_at(rotation: float) -> float:
        return best_shift(rotate(holes, rotation), rods, clearance, shift_limit)[0]

    step = 2.0 * np.pi / SCANNED_ROTATIONS
    rotations = np.arange(SCANNED_ROTATIONS) * step - np.pi
    values = np.array([least_at(each) for each in rotations])
    valleys = (values <= np.roll(values, 1)) & (values <= np.roll(values, -1))
    found = []
    for index in np.flatnonzero(valleys)[np.argsort(values[valleys])][
        :FOLLOWED_VALLEYS
    ]:
        # A kink may hide within a step of the scan: scan again before the search.
        near = rotations[index] + np.linspace(-step, step, NEAR_ROTATIONS)
        start = near[int(np.argmin([least_at(each) for each in near]))]
        width = 2.0 * step / (NEAR_ROTATIONS - 1)
        bottom = minimize_scalar(
            least_at,
            bounds=(start - width, start + width),
            method="bounded",
            options={"xatol": 1e-11},
        )
        found.append(float(bottom.x))
    rotation = min(found, key=least_at)
    value, shift = best_shift(rotate(holes, rotation), rods, clearance, shift_limit)
    return ReferenceFit(value, rotation, shift)


def best_shift(
    placed: np.ndarray,
    rods: np.ndarray,
    clearance: np.ndarray,
    shift_limit: np.ndarray | None,
) -> tuple[float, np.ndarray]:
    """Shift holes, already rotated, so that the worst excess is least.

    Minimise t with (t + clearance_i)**2 >= |placed_i + shift - rod_i|**2: squared, so
    that the constraint is smooth where a rod is in the middle of its hole.
    """

    def excess(shift: np.ndarray) -> float:
        gap = placed + shift - rods
        return float((np.hypot(gap[:, 0], gap[:, 1]) - clearance).max())

    def margins(x: np.ndarray) -> np.ndarray:
        gap = placed + x[:2] - rods
        reach = x[2] + clearance
        return np.concatenate((reach**2 - (gap**2).sum(axis=1), reach))

    def margins_slope(x: np.ndarray) -> np.ndarray:
        gap = placed + x[:2] - rods
        reach = x[2] + clearance
        curved = np.column_stack((-2.0 * gap, 2.0 * reach))
        straight = np.column_stack((np.zeros_like(gap), np.ones_like(reach)))
        return np.concatenate((curved, straight))

    start = (rods - placed).mean(axis=0)
    bounds = [(None, None)] * 3
    if shift_limit is not None:
        start = np.clip(start, -shift_limit, shift_limit)
        bounds = [(-limit, limit) for limit in shift_limit] + [(None, None)]
    found = minimize(
        lambda x: x[2],
        np.append(start, excess(start) + 1.0),
        jac=lambda _x: np.array([0.0, 0.0, 1.0]),
        method="SLSQP",
        bounds=bounds,
        constraints={"type": "ineq", "fun": margins, "jac": margins_slope},
        options={"ftol": 1e-13, "maxiter": 300},
    )
    shift = found.x[:2]
    if shift_limit is not None:
        shift = np.clip(shift, -shift_limit, shift_limit)
    # The value at the shift is what counts, whatever the optimiser says of t.
    return min(
        ((excess(each), each) for each in (shift, start)), key=lambda pair: pair[0]
    )
