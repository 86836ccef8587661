"""A whole building evaluated with libraries that do each step one at a time.

Repeats and levels by weighted least squares of statsmodels, outline and patterns by
scipy's `least_squares`, plates, slots and the shift of the steel by cvxpy with
Clarabel, linearised again until the rotation converges; what the readings of one tape
have in common by generalised least squares of statsmodels, the misfit of the whole
building by cvxpy. The reference takes each pattern check's uncertainty and the plates
to slot from the result. It computes no verdicts, strength, causes or remedies.

Each plate is a cone problem of its own, as cvxpy is commonly used. With `reuse` the
free plates share one problem whose numbers are parameters, which saves cvxpy its
preparations and leaves little but Clarabel.
"""

import json
from itertools import combinations, product
from typing import Any

import cvxpy as cp
import numpy as np
import statsmodels.api as sm
from scipy.optimize import least_squares

from jobs.anchor_plan.check_keys import CheckKey
from jobs.anchor_plan.geometry import outline_points, position_axes, to_plan_axes
from jobs.anchor_plan.neighbours import find_bays, find_spans
from jobs.anchor_plan.values import BuildingInput, ReadingValue
from jobs.exchange.input.parser import parse_building
from tests.bench.building import RODS

Document = dict[str, Any]
CLEARANCE_MM = (27.0 - 22.2) / 2.0
GRID_MM, PAIR_MM, COLUMN_TURN_RAD = 6.35, 3.175, np.radians(0.5)
REPEATS = 2  # each length of the outline is read twice with one tape on one day
FIXED = [0, 1, 3]  # coordinates of a free outline that are held
CONVERGED_MM = 1e-9
CONVERGED_RAD = 1e-8
CONVERGED_MISFIT_MM = 1e-7
MAX_ROUNDS = 12
TURN_RAD = np.radians(0.5)  # the basis's turn of a column


class Reference:
    """The results of one building, step by step with outside libraries."""

    def __init__(
        self, building: BuildingInput, result: Document, *, reuse: bool = False
    ) -> None:
        self.cone = _SharedCone() if reuse else None
        self.slotted = {
            finding["finding"].split(":")[1]: finding
            for finding in result["findings"]
            if any(remedy["remedy"] == "slot" for remedy in finding["remedies"])
        }
        self.line_mm = result["tolerances"]["line"]["value"]
        self.building, self.plan = building, building.plan
        self.sigma = {c["check"]: c["uncertainty"] for c in result["checks"]}
        self.values: dict[str, list[float]] = {}
        for reading in building.readings:
            self.values.setdefault(reading.check, []).append(reading.value)

    def run(self) -> Document:
        """Compute every result that is compared."""
        self.mean = self.repeats()
        rods = [self.rods(position) for position in self.plan.positions]
        built = dict(zip((p.mark for p in self.plan.positions), rods, strict=True))
        interference = [self.interference(each) for each in rods]
        return {
            "observed": self.mean,
            "corners": self.outline(),
            "misfit": self.misfit(rods),
            "heights": self.heights(),
            "rods": np.array(rods),
            "interference": np.array(interference),
            "slots": {mark: self.slot(built[mark]) for mark in self.slotted},
            "steel": self.steel(rods, interference) if self.slotted else None,
        }

    def repeats(self) -> dict[str, float]:
        """Compute the mean reading of each check except levels."""
        return {
            key: float(sm.WLS(read, np.ones(len(read))).fit().params[0])
            for key, read in self.values.items()
            if not key.startswith(("level", "benchmark", "strength"))
        }

    def outline(self) -> np.ndarray:
        """Compute the readings' own residuals, walls and then diagonals. [mm]

        Generalised least squares, linearised again until nothing moves: the error of
        the tape's class and of the day's temperature is common to all lengths.
        """
        points = outline_points(self.plan)
        names = [corner.name for corner in self.plan.outline]
        keys = [k for k in self.mean if k.startswith(("wall", "diagonal"))]
        ends = [[names.index(n) for n in k.split(":")[1].split("-")] for k in keys]
        i, j = np.array(ends).T
        read = np.array([self.mean[k] for k in keys])
        covariance = tape_covariance(read, REPEATS)
        rows = np.arange(len(keys))
        at = points.astype(float)
        for _ in range(MAX_ROUNDS):
            step = at[j] - at[i]
            distance = np.hypot(*step.T)
            unit = step / distance[:, None]
            slope = np.zeros((len(keys), len(names), 2))
            slope[rows, j] += unit
            slope[rows, i] -= unit
            # The first corner stays, and the second one on its line: FIXED coordinates.
            matrix = np.delete(slope.reshape(len(keys), -1), FIXED, axis=1)
            found = sm.GLS(read - distance, matrix, sigma=covariance).fit()
            moved = np.insert(found.params, [0, 0, 1], 0.0).reshape(-1, 2)
            at = at + moved
            if np.abs(moved).max() < CONVERGED_MM:
                break
        whole = np.hypot(*(at[j] - at[i]).T) - read
        # A reading's own share of its residual; the rest is the tape's and the day's.
        own = np.diag(tape_variance(read, REPEATS))
        return np.asarray(own @ np.linalg.solve(covariance, whole))

    def misfit(self, rods: list[np.ndarray]) -> float:
        """Compute the misfit of the whole building as one cone problem. [mm]

        The rotations are linearised again until that changes nothing.
        """
        frames = [position_axes(self.plan, each) for each in self.plan.positions]
        axes = np.array([(each.along, each.inward) for each in frames])
        holes = np.array(RODS) - np.mean(RODS, axis=0)
        off = np.array(rods) - np.array(RODS)
        centre = np.array([
            to_plan_axes(each, np.mean(RODS, axis=0)[None])[0] for each in frames
        ])  # fmt: skip
        middle = (centre.min(axis=0) + centre.max(axis=0)) / 2.0
        arm = np.stack((-(centre - middle)[:, 1], (centre - middle)[:, 0]), axis=1)
        n = len(frames)
        turned = (arm[:, None] * axes).sum(axis=2)  # of each position, per unit turn
        found, misfit = np.zeros(n), np.inf
        for _ in range(MAX_ROUNDS):
            shift, turn, grid, t = (
                cp.Variable((n, 2)),
                cp.Variable(n),
                cp.Variable(3),
                cp.Variable(),
            )
            bounds = [cp.abs(grid[:2]) <= GRID_MM,
                      cp.abs(grid[2]) * np.hypot(*arm.T).max() <= GRID_MM,
                      cp.abs(turn - grid[2]) <= COLUMN_TURN_RAD]  # fmt: skip
            c, s = np.cos(found)[:, None], np.sin(found)[:, None]
            for k, hole in enumerate(holes):
                placed = np.hstack((c * hole[0] - s * hole[1],
                                    s * hole[0] + c * hole[1]))  # fmt: skip
                quarter = np.stack((-placed[:, 1], placed[:, 0]), axis=1)
                step = cp.reshape(turn - found, (n, 1), order="C")
                gap = shift + cp.multiply(step @ np.ones((1, 2)), quarter)
                gap += placed - hole - off[:, k]
                bounds.append(cp.norm(gap, axis=1) <= CLEARANCE_MM + t)
            local = [
                shift[:, c] - axes[:, c] @ grid[:2] - grid[2] * turned[:, c]
                for c in (0, 1)
            ]
            bounds += [cp.abs(each) <= self.line_mm for each in local]
            for pair in (*find_bays(self.plan), *find_spans(self.plan)):
                (a, b), e = (pair.first, pair.second), np.array(pair.direction)
                apart = sum(
                    local[c][b] * (axes[b, c] @ e) - local[c][a] * (axes[a, c] @ e)
                    for c in (0, 1)
                )
                bounds.append(cp.abs(apart) <= PAIR_MM)
            problem = cp.Problem(cp.Minimize(t), bounds)
            problem.solve(solver=cp.CLARABEL)
            gained, misfit, found = abs(misfit - t.value), float(t.value), turn.value
            if gained < CONVERGED_MISFIT_MM:
                break
        return misfit

    def heights(self) -> dict[str, float]:
        """Compute pad heights from the highest, one unknown per point and set-up."""
        taken = [r for r in self.building.readings
                 if r.check.startswith(("level", "benchmark"))]  # fmt: skip
        points = list(dict.fromkeys(r.check for r in taken))
        setups = list(dict.fromkeys(r.setup for r in taken))
        rows = np.zeros((len(taken), len(points) + len(setups) - 1))
        for row, reading in zip(rows, taken, strict=True):
            row[points.index(reading.check)] = -1.0
            if reading.setup != setups[0]:  # the first one's line of sight is zero
                row[len(points) + setups.index(reading.setup) - 1] = 1.0
        found = sm.WLS([r.value for r in taken], rows).fit().params
        pads = {key: found[i] for i, key in enumerate(points) if key.startswith("l")}
        top = max(pads.values())
        return {key.split(":")[1]: float(v - top) for key, v in pads.items()}

    def rods(self, position: Any) -> np.ndarray:
        """Solve for rods (4, 2), along and in, from setbacks, offsets and gages."""
        mark = position.mark
        keys = [f"offset:{mark}.{n}" for n in range(1, 5)]
        keys += [f"setback:{mark}.{n}" for n in range(1, 5)]
        gages = [f"gage:{mark}.1-2", f"gage:{mark}.3-4"]
        read = np.array([self.mean[k] for k in keys + gages])
        sigma = np.array([self.sigma[k] for k in keys + gages])

        def misfit(x: np.ndarray) -> np.ndarray:
            at = x.reshape(2, 4).T
            gage = np.hypot(*(at[[1, 3]] - at[[0, 2]]).T)
            return (np.concatenate((x, gage)) - read) / sigma

        found = least_squares(misfit, read[:8], xtol=1e-15, ftol=1e-15, gtol=1e-15)
        rods = found.x.reshape(2, 4).T.copy()
        rods[:, 0] += self.mean[f"line:{mark}"] - position.along
        return rods

    def interference(self, rods: np.ndarray) -> float:
        """Compute the interference of one plate."""
        if self.cone is not None:
            return self.cone.solve(np.array(RODS), rods) - CLEARANCE_MM
        return place_plate(np.array(RODS), rods) - CLEARANCE_MM

    def slot(self, rods: np.ndarray) -> tuple[int, float]:
        """Find the fewest holes to open, and the longest extension then. [1, mm]

        Every set of so many holes is tried with either axis for each, the others held
        to their clearance.
        """
        limits = self.line_mm, TURN_RAD
        for count in range(1, len(RODS) + 1):
            longest = min(
                place_slotted(
                    np.array(RODS), rods, dict(zip(opened, axes, strict=True)), limits
                )
                for opened in combinations(range(len(RODS)), count)
                for axes in product((0, 1), repeat=count)
            )
            if np.isfinite(longest):
                return count, longest
        return 0, np.inf

    def steel(self, rods: list[np.ndarray], interference: list[float]) -> float:
        """Compute the worst excess of all fitting plates on one shifted steel. [mm]

        A positive value would mean that some of those must be released as well, which
        the reference does not search for.
        """
        planned, built = [], []
        for position, each, over in zip(
            self.plan.positions, rods, interference, strict=True
        ):
            if over <= 0.0:
                frame = position_axes(self.plan, position)
                planned.append(to_plan_axes(frame, np.array(RODS)))
                built.append(to_plan_axes(frame, each))
        return (
            place_plate(np.concatenate(planned), np.concatenate(built)) - CLEARANCE_MM
        )


def place_slotted(
    holes: np.ndarray,
    rods: np.ndarray,
    axes: dict[int, int],
    limits: tuple[float, float],
) -> float:
    """Find the least longest slot, along an axis each; inf where nothing fits. [mm]

    `limits` are those of the shift along each axis and of the rotation. A rod stands at
    a point p of its slot.
    """
    centre, m = holes.mean(axis=0), len(holes)
    holes, rods = holes - centre, rods - centre
    unit = np.zeros((m, 2))
    for hole, axis in axes.items():
        unit[hole, axis] = 1.0
    rotation, at = 0.0, np.zeros(m)
    for _ in range(MAX_ROUNDS):
        c, s = np.cos(rotation), np.sin(rotation)
        turn = np.array([[c, s], [-s, c]])
        placed, along = holes @ turn, unit @ turn
        there = placed + at[:, None] * along
        arm = np.stack((-there[:, 1], there[:, 0]), axis=1)
        e, step, shift, p = (cp.Variable(*n) for n in ((), (), (2,), (m,)))
        spot = cp.multiply(cp.reshape(p, (m, 1), order="C"), along)
        gap = placed + spot - rods + step * arm + cp.reshape(shift, (1, 2), order="C")
        rest = [hole for hole in range(m) if hole not in axes]
        bounds = [cp.norm(gap, axis=1) <= CLEARANCE_MM, cp.abs(p) <= e, p[rest] == 0]
        bounds += [cp.abs(shift) <= limits[0], cp.abs(rotation + step) <= limits[1]]
        problem = cp.Problem(cp.Minimize(e), bounds)
        problem.solve(solver=cp.CLARABEL)
        if problem.status not in (cp.OPTIMAL, cp.OPTIMAL_INACCURATE):
            return float("inf")
        rotation, at = rotation + float(step.value), p.value
        if abs(step.value) < CONVERGED_RAD:
            break
    return float(e.value)


def place_plate(holes: np.ndarray, rods: np.ndarray) -> float:
    """Find the least largest rod-to-hole distance. [mm]"""
    centre = holes.mean(axis=0)
    holes, rods = holes - centre, rods - centre
    rotation = 0.0
    for _ in range(MAX_ROUNDS):
        c, s = np.cos(rotation), np.sin(rotation)
        placed = holes @ np.array([[c, s], [-s, c]])
        arm = np.stack((-placed[:, 1], placed[:, 0]), axis=1)
        t, step, shift = cp.Variable(), cp.Variable(), cp.Variable(2)
        gap = placed - rods + step * arm + cp.reshape(shift, (1, 2), order="C")
        problem = cp.Problem(cp.Minimize(t), [cp.norm(gap, axis=1) <= t])
        problem.solve(solver=cp.CLARABEL)
        rotation += float(step.value)
        if abs(step.value) < CONVERGED_RAD:
            break
    return float(t.value)


def tape_covariance(length_mm: np.ndarray, repeats: int) -> np.ndarray:
    """Return the covariance of lengths read with one tape of class II on one day. [mm²]

    The temperature was not noted, the readings are to 0.1 mm. OIML R 35-1 for the
    class.
    """
    metres = length_mm / 1000.0
    class_error = (0.3 + 0.2 * np.ceil(metres)) / np.sqrt(3.0)
    temperature = 11.6e-6 * 10.0 * length_mm / np.sqrt(3.0)
    common = np.outer(class_error, class_error) + np.outer(temperature, temperature)
    return np.asarray(common + np.diag(tape_variance(length_mm, repeats)))


def tape_variance(length_mm: np.ndarray, repeats: int) -> np.ndarray:
    """Return the part of that covariance that belongs to each length alone. [mm²]

    Resolution, and handling: pull, mark and plumb bob (a project choice).
    """
    handling = np.minimum(0.5 + 0.1 * length_mm / 1000.0, 1.5)
    return np.asarray((0.1**2 / 12.0 + handling**2) / repeats)


def read_building(text: bytes) -> BuildingInput:
    """Read a document of the bench as plainly as it can be read, to feed `Reference`.

    The readings' values are in mm, or MPa, as `build_document` writes them. Nothing is
    validated; the plan, a twentieth of the document, is read by the program's parser.
    """
    document = json.loads(text)
    readings = document.pop("readings")
    return BuildingInput(
        plan=parse_building({**document, "readings": []}).plan,
        readings=tuple(
            ReadingValue(
                id=each["id"],
                check=str.__new__(CheckKey, each["check"]),
                value=float(each["value"].partition(" ")[0]),
                text=each["value"],
                resolution=0.1,
                setup=each.get("setup", "1"),
            )
            for each in readings
        ),
    )


class _SharedCone:
    """The cone problem of one plate, with its numbers as parameters."""

    def __init__(self) -> None:
        self.off, self.arm = cp.Parameter((4, 2)), cp.Parameter((4, 2))
        self.t, self.rotation, self.shift = cp.Variable(), cp.Variable(), cp.Variable(2)
        self.problem = cp.Problem(cp.Minimize(self.t), [
            cp.norm(self.off[i] + self.rotation * self.arm[i] + self.shift) <= self.t
            for i in range(4)
        ])  # fmt: skip

    def solve(self, holes: np.ndarray, rods: np.ndarray) -> float:
        """Solve as `place_plate` does, of four rods. [mm]"""
        holes = holes - holes.mean(axis=0)
        rotation, reach = 0.0, np.inf
        for _ in range(MAX_ROUNDS):
            c, s = np.cos(rotation), np.sin(rotation)
            placed = holes @ np.array([[c, s], [-s, c]])
            self.off.value = placed - (rods - rods.mean(axis=0))
            self.arm.value = np.stack((-placed[:, 1], placed[:, 0]), axis=1)
            self.problem.solve(solver=cp.CLARABEL)
            rotation += float(self.rotation.value)
            reach = float(self.t.value)
            if abs(self.rotation.value) < CONVERGED_RAD:
                break
        return reach
