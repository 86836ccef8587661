"""A whole building, measured with an invented crew's noise, and a reference for it.

The reference is put together from libraries that do each step one at a time: repeats
and levels by weighted least squares of statsmodels, outline and patterns by scipy's
`least_squares`, plates by cvxpy with Clarabel, linearised again until the turn stands.
It takes each check's uncertainty from the result, and does nothing else that
evaluation does (verdicts, remedies, causes).
"""

from typing import Any

import cvxpy as cp
import numpy as np
import statsmodels.api as sm
from scipy.optimize import least_squares

from jobs.exchange.parse import read_building
from jobs.plan.geometry import outline_points
from jobs.plan.model import Building
from jobs.plan.sheet import Kind, check_sheet

Document = dict[str, Any]
SIGMA_MM = {Kind.LEVEL: 2.0, Kind.PROJECTION: 2.0}
REPEAT_MM = 0.04  # how near a careful reader comes to himself
BAY_MM, DEPTH_MM = 7000.0, 18_000.0
RODS = ((-65.0, 170.0), (65.0, 170.0), (-65.0, 320.0), (65.0, 320.0))


def document(positions: int = 60, seed: int = 5, *, far: bool = True) -> Document:
    """Four rods at each position, half of them on either long wall, all read twice.

    One position in fifteen has a rod `far` out of place.
    """
    rng = np.random.default_rng(seed)
    half = positions // 2
    length = BAY_MM * (half + 1)
    made: Document = {
        "format": "padstone.building/1",
        "name": "Bench hall",
        "length_unit": "mm",
        "outline": [
            {"corner": name, "x": x, "y": y}
            for name, x, y in (
                ("SW", 0, 0),
                ("SE", length, 0),
                ("NE", length, DEPTH_MM),
                ("NW", 0, DEPTH_MM),
            )
        ],
        "shim_thicknesses": ["2 mm", "3 mm", "6 mm"],
        "details": {
            "R": {
                "reference": "centreline",
                "plate": {
                    "thickness": 15,
                    "hole_diameter": 27,
                    "edge_distance": 45,
                },
                "rods": [
                    {"in": inward, "along": along, "diameter": 22.2, "projection": 95}
                    for along, inward in RODS
                ],
            }
        },
        "positions": [
            {"mark": f"{row}{n}", "wall": wall, "along": BAY_MM * n, "detail": "R"}
            for row, wall in (("S", "SW-SE"), ("N", "NE-NW"))
            for n in range(1, half + 1)
        ],
        "concrete": {"specified_strength": "25 MPa", "placed_on": "2026-02-02"},
        "instruments": {"T": {"kind": "steel tape", "class": "II"},
                        "L": {"kind": "optical level"}},
    }  # fmt: skip
    made["readings"] = _readings(made, rng, far=far)
    return made


def _readings(made: Document, rng: np.random.Generator, *, far: bool) -> list[Document]:
    """Each check of the walk, and two gages a position, with the crew's noise."""
    listed: list[Document] = []

    def read(key: str, value: float, **more: str) -> None:
        at = (
            f"2026-03-02T{8 + len(listed) // 3600:02d}:{len(listed) // 60 % 60:02d}:00Z"
        )
        listed.append({"id": f"b{len(listed)}", "check": key, "by": "crew 1",
                       "value": f"{value:.1f} mm", "at": at, **more})  # fmt: skip

    built = _built(made, rng, far=far)
    for check in check_sheet(read_building(made).plan):
        if check.kind in (Kind.LINE, Kind.GAGE, Kind.PLUMB, Kind.STRENGTH):
            continue
        noise = rng.normal(0.0, SIGMA_MM.get(check.kind, 0.8))
        if check.kind is Kind.LEVEL:
            for setup in _setups(check.mark or ""):
                high = 1500.0 if setup == "1" else 1380.0
                read(check.key, high + noise + rng.normal(0, REPEAT_MM), setup=setup,
                     instrument="L")  # fmt: skip
            continue
        true = (check.nominal or 0.0) + noise
        if check.kind in (Kind.SETBACK, Kind.OFFSET):
            axis = int(check.kind is Kind.SETBACK)
            true = built[check.mark or ""][check.rods[0] - 1, axis]
        for _ in range(2):
            read(check.key, true + rng.normal(0.0, REPEAT_MM), instrument="T")
    for setup, high in (("1", 1200.0), ("2", 1080.0)):
        read("benchmark:BM", high, setup=setup, instrument="L")
    for position in made["positions"]:
        mark, off = position["mark"], rng.normal(0.0, 0.8)
        read(f"line:{mark}", position["along"] + off, instrument="T")
        for i, j in ((0, 1), (2, 3)):
            apart = float(np.hypot(*(built[mark][j] - built[mark][i])))
            gage = apart + rng.normal(0.0, REPEAT_MM)
            read(f"gage:{mark}.{i + 1}-{j + 1}", gage, instrument="T")
    listed.append({"id": "c", "check": "strength:F1", "value": "22 MPa"})
    return listed


def _built(
    made: Document, rng: np.random.Generator, *, far: bool
) -> dict[str, np.ndarray]:
    """Rods as built, along and in, of each position."""
    built = {}
    for order, position in enumerate(made["positions"]):
        rods = np.array(RODS) + rng.normal(0.0, 0.6, (4, 2))
        if far and order % 15 == 7:
            rods[1, 0] += 9.0
        built[position["mark"]] = rods
    return built


def _setups(mark: str) -> tuple[str, ...]:
    """Set-ups a pad is read from: one for each side, and both at every fifth."""
    own = "1" if mark.startswith("S") else "2"
    return ("1", "2") if int(mark[1:]) % 5 == 0 else (own,)


class Reference:
    """The figures of one building, step by step with outside libraries."""

    def __init__(self, building: Building, result: Document) -> None:
        self.building, self.plan = building, building.plan
        self.sigma = {c["check"]: c["uncertainty"] for c in result["checks"]}
        self.values: dict[str, list[float]] = {}
        for reading in building.readings:
            self.values.setdefault(reading.check, []).append(reading.value)

    def run(self) -> Document:
        """Every figure that is compared."""
        self.mean = self.repeats()
        rods = [self.rods(position) for position in self.plan.positions]
        return {
            "observed": self.mean,
            "corners": self.outline(),
            "heights": self.heights(),
            "rods": np.array(rods),
            "overrun": np.array([self.overrun(each) for each in rods]),
        }

    def repeats(self) -> dict[str, float]:
        """Mean of the readings of each check but levels."""
        return {
            key: float(sm.WLS(read, np.ones(len(read))).fit().params[0])
            for key, read in self.values.items()
            if not key.startswith(("level", "benchmark", "strength"))
        }

    def outline(self) -> np.ndarray:
        """Lengths between the adjusted corners, walls first and then diagonals."""
        points = outline_points(self.plan)
        names = [corner.name for corner in self.plan.outline]
        keys = [k for k in self.mean if k.startswith(("wall", "diagonal"))]
        ends = [[names.index(n) for n in k.split(":")[1].split("-")] for k in keys]
        i, j = np.array(ends).T
        read = np.array([self.mean[k] for k in keys])
        sigma = np.array([self.sigma[k] for k in keys])

        begin = np.delete(points.ravel(), [0, 1, 3])

        def steps(x: np.ndarray) -> np.ndarray:
            at = np.concatenate(([0.0, 0.0], [x[0]], [0.0], x[1:])).reshape(-1, 2)
            out: np.ndarray = at[j] - at[i]
            return out

        def slope(x: np.ndarray) -> np.ndarray:
            step = steps(x)
            unit = step / np.hypot(*step.T)[:, None] / sigma[:, None]
            whole = np.zeros((len(keys), len(names), 2))
            rows = np.arange(len(keys))
            whole[rows, j] += unit
            whole[rows, i] -= unit
            return np.delete(whole.reshape(len(keys), -1), [0, 1, 3], axis=1)

        def misfit(x: np.ndarray) -> np.ndarray:
            out: np.ndarray = (np.hypot(*steps(x).T) - read) / sigma
            return out

        found = least_squares(misfit, begin, jac=slope, x_scale="jac",
                              xtol=1e-15, ftol=1e-15, gtol=1e-15)  # fmt: skip
        return np.hypot(*steps(found.x).T) - read

    def heights(self) -> dict[str, float]:
        """Pads from the highest, by one column for each point and each set-up."""
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
        """As-built rods (4, 2), along and in, from setbacks, offsets and gages."""
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

    def overrun(self, rods: np.ndarray) -> float:
        """Least overrun of the plate, linearised about the turn until it stands."""
        if not hasattr(self, "cone"):
            self.cone = _Cone()
        return self.cone.solve(np.array(RODS), rods, (27.0 - 22.2) / 2.0)


class _Cone:
    """One plate's second-order cone problem, its numbers as parameters."""

    def __init__(self) -> None:
        self.off, self.arm = cp.Parameter((4, 2)), cp.Parameter((4, 2))
        self.t, self.turn, self.shift = cp.Variable(), cp.Variable(), cp.Variable(2)
        self.problem = cp.Problem(cp.Minimize(self.t), [
            cp.norm(self.off[i] + self.turn * self.arm[i] + self.shift) <= self.t
            for i in range(4)
        ])  # fmt: skip

    def solve(self, holes: np.ndarray, rods: np.ndarray, clearance: float) -> float:
        holes = holes - holes.mean(axis=0)
        turn, reach = 0.0, np.inf
        for _ in range(12):
            c, s = np.cos(turn), np.sin(turn)
            placed = holes @ np.array([[c, s], [-s, c]])
            self.off.value = placed - (rods - rods.mean(axis=0))
            self.arm.value = np.stack((-placed[:, 1], placed[:, 0]), axis=1)
            self.problem.solve(solver=cp.CLARABEL)
            turn += float(self.turn.value)
            reach = float(self.t.value)
            if abs(self.turn.value) < 1e-8:
                break
        return reach - clearance
