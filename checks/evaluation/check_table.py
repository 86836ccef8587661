"""The plan's checks and rods as columns of arrays, in the order of the document."""

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from checks.engine.arrays import BoolArray, FloatArray, IntArray
from jobs.anchor_plan.check_keys import PAIR_KINDS, CheckKind
from jobs.anchor_plan.check_sheet import build_check_sheet, find_check
from jobs.anchor_plan.geometry import LocalAxes, all_position_axes
from jobs.anchor_plan.planned_checks import Check
from jobs.anchor_plan.values import BuildingInput, Detail, Plan, Position

LISTED_WHEN_READ = frozenset({CheckKind.GAGE, CheckKind.PLUMB}) | PAIR_KINDS
"""Kinds that are optional on every plan: they are listed once somebody reads them."""

NO_RODS = (0, 0)


class CheckTable:
    """Every check of the plan, and those that only a reading names, as columns.

    Attributes
    ----------
    nominal : (n_checks,) [mm; MPa for a strength], NaN where the plan has none.
    position : (n_checks,) index of its position in the plan, -1 for none.
    rods : (n_checks, 2) numbers of its rods from 1: a single one twice, 0 for none.
    """

    def __init__(self, building: BuildingInput) -> None:
        read = dict.fromkeys(reading.check for reading in building.readings)
        plan = building.plan
        listed = [
            check
            for check in build_check_sheet(plan)
            if check.kind not in LISTED_WHEN_READ or check.key in read
        ]
        # Benchmarks, samples and optional checks exist only through a reading.
        known = {check.key for check in listed}
        extra = [find_check(plan, key) for key in read if key not in known]
        self.checks: tuple[Check, ...] = (*listed, *extra)
        self.index: dict[str, int] = {
            check.key: row for row, check in enumerate(self.checks)
        }
        self.nominal: FloatArray = np.array(
            [
                np.nan if check.nominal is None else check.nominal
                for check in self.checks
            ],
            dtype=float,
        )
        index = {position.mark: i for i, position in enumerate(plan.positions)}
        self.position: IntArray = np.array(
            [index.get(check.mark or "", -1) for check in self.checks], dtype=int
        )
        self.rods: IntArray = np.array(
            [
                (check.rods[0], check.rods[-1]) if check.rods else NO_RODS
                for check in self.checks
            ],
            dtype=int,
        ).reshape(-1, 2)
        by_kind: dict[CheckKind, list[int]] = {kind: [] for kind in CheckKind}
        for row, check in enumerate(self.checks):
            by_kind[check.kind].append(row)
        self._rows = {kind: np.array(rows, int) for kind, rows in by_kind.items()}

    def __len__(self) -> int:
        return len(self.checks)

    def rows(self, *kinds: CheckKind) -> IntArray:
        """Return the rows of the checks of these kinds, in order."""
        return np.concatenate([self._rows[kind] for kind in kinds])


@dataclass(frozen=True, slots=True)
class PositionRods:
    """The rows of one position's rods in the columns of `RodTable`."""

    position: Position
    detail: Detail
    rows: slice


class RodTable:
    """Every rod of every position as columns; NaN where the plan has no value.

    Attributes
    ----------
    planned : (n_rods, 2) along and in, from the position's own reference line and the
        steel line, or from its point. [mm]
    position : (n_rods,) index of the rod's position in the plan.
    first : (n_positions,) row of each position's first rod.
    """

    def __init__(self, plan: Plan) -> None:
        self.plan = plan
        groups: list[PositionRods] = []
        start = 0
        for position in plan.positions:
            detail = plan.details[position.detail]
            stop = start + len(detail.rods)
            groups.append(PositionRods(position, detail, slice(start, stop)))
            start = stop
        self.groups = tuple(groups)
        # One block for each detail: a plan has few details and hundreds of positions.
        blocks = {
            name: _detail_columns(detail) for name, detail in plan.details.items()
        }
        columns = [blocks[group.detail.name] for group in groups]
        stacked = np.concatenate(columns) if columns else np.empty((0, 6))
        self.planned: FloatArray = stacked[:, :2]
        self.diameter: FloatArray = stacked[:, 2]
        self.projection: FloatArray = stacked[:, 3]
        self.hole_diameter: FloatArray = stacked[:, 4]
        self.edge_distance: FloatArray = stacked[:, 5]
        self.position: IntArray = np.repeat(
            np.arange(len(groups)), [len(group.detail.rods) for group in groups]
        ).astype(int)
        self.first: IntArray = np.array([group.rows.start for group in groups], int)

    def __len__(self) -> int:
        return len(self.planned)

    def rows_of_checks(self, table: CheckTable, checks: IntArray) -> IntArray:
        """Return the rod rows (k, 2) of some checks (k,), a single rod twice."""
        first = self.first[table.position[checks]]
        rows: IntArray = first[:, None] + table.rods[checks] - 1
        return rows

    @cached_property
    def clearance(self) -> FloatArray:
        """Return half of hole less rod diameter, shape (n_rods,). [mm]"""
        clearance: FloatArray = (self.hole_diameter - self.diameter) / 2.0
        return clearance

    @cached_property
    def position_axes(self) -> tuple[LocalAxes, ...]:
        """Return each position's local axes in plan coordinates."""
        return all_position_axes(self.plan)

    @cached_property
    def padded_rows(self) -> tuple[IntArray, BoolArray]:
        """Return the rod rows of each position, (n_positions, most rods), and a mask.

        The mask is True for real rods; padding repeats the position's first rod, so
        that indexing stays valid.
        """
        counts = np.bincount(self.position, minlength=len(self.groups))
        most = int(counts.max()) if counts.size else 1
        first = np.concatenate(([0], np.cumsum(counts)[:-1])).astype(int)
        offset = np.arange(most)
        real = offset[None, :] < counts[:, None]
        return np.where(real, first[:, None] + offset[None, :], first[:, None]), real


def _detail_columns(detail: Detail) -> FloatArray:
    """Return the rods of a detail as rows of the columns above, (n_rods, 6)."""
    plate = detail.plate
    hole = np.nan if plate is None else plate.hole_diameter
    edge = np.nan
    if plate is not None and plate.edge_distance is not None:
        edge = plate.edge_distance
    return np.array(
        [
            [
                rod.along,
                rod.inward,
                rod.diameter,
                np.nan if rod.projection is None else rod.projection,
                hole,
                edge,
            ]
            for rod in detail.rods
        ],
        dtype=float,
    )
