"""The plan's checks, rods and plates as columns, in the order of the document."""

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from checks.engine.arrays import BoolArray, FloatArray, IntArray
from jobs.anchor_plan.check_keys import CheckKind
from jobs.anchor_plan.check_sheet import build_check_sheet, find_check
from jobs.anchor_plan.geometry import LocalAxes, all_position_axes
from jobs.anchor_plan.planned_checks import Check
from jobs.anchor_plan.values import BuildingInput, Detail, Plan, Position

LISTED_WHEN_READ = frozenset({CheckKind.GAGE, CheckKind.PLUMB})
NO_RODS = (0, 0)


class CheckTable:
    """Every check of the plan, and those only a reading names, as columns.

    nominal : (n_checks,) [mm; MPa for a strength], NaN where the plan has none.
    position : (n_checks,) place of its position in the plan, -1 where it is at none.
    rods : (n_checks, 2) numbers from 1 of the rods it is about: a single one twice,
        0 for none.
    """

    def __init__(self, building: BuildingInput) -> None:
        read = dict.fromkeys(reading.check for reading in building.readings)
        plan = building.plan
        listed = [
            check
            for check in build_check_sheet(plan)
            if check.kind not in LISTED_WHEN_READ or check.key in read
        ]
        known = {check.key for check in listed}
        extra = [find_check(plan, key) for key in read if key not in known]
        self.checks: tuple[Check, ...] = (*listed, *extra)
        self.index = {check.key: row for row, check in enumerate(self.checks)}
        self.nominal: FloatArray = np.array(
            [
                np.nan if check.nominal is None else check.nominal
                for check in self.checks
            ],
            dtype=float,
        )
        place = {each.mark: i for i, each in enumerate(plan.positions)}
        self.position: IntArray = np.array(
            [place.get(check.mark or "", -1) for check in self.checks], dtype=int
        )
        self.rods: IntArray = np.array(
            [(check.rods[0], check.rods[-1]) if check.rods else NO_RODS
             for check in self.checks],
            dtype=int,
        ).reshape(-1, 2)  # fmt: skip
        rows: dict[CheckKind, list[int]] = {kind: [] for kind in CheckKind}
        for row, check in enumerate(self.checks):
            rows[check.kind].append(row)
        self._rows = {kind: np.array(of, dtype=int) for kind, of in rows.items()}

    def __len__(self) -> int:
        return len(self.checks)

    def rows(self, *kinds: CheckKind) -> IntArray:
        """Rows of the checks of these kinds, in order."""
        return np.concatenate([self._rows[kind] for kind in kinds])


@dataclass(frozen=True, slots=True)
class PositionRods:
    """Where one position's rods stand in the columns of `RodTable`."""

    position: Position
    detail: Detail
    rows: slice


class RodTable:
    """Every rod of every position as columns; NaN where the plan does not say.

    `planned` is along and in from the position's own reference line and the steel
    line (or point), in mm; `position` the position each rod belongs to.
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
        """The rods (k, 2) that some checks (k,) of the table are about.

        A check of a single rod has it twice.
        """
        first = self.first[table.position[checks]]
        rows: IntArray = first[:, None] + table.rods[checks] - 1
        return rows

    @cached_property
    def frames(self) -> tuple[LocalAxes, ...]:
        """Each position's axes on plan axes."""
        return all_position_axes(self.plan)

    @cached_property
    def padded_rows(self) -> tuple[IntArray, BoolArray]:
        """Rows of each position's rods, (n_positions, most rods), and which are real.

        The padding repeats the position's first rod, so that indexing stays valid.
        """
        counts = np.bincount(self.position, minlength=len(self.groups))
        most = int(counts.max()) if counts.size else 1
        first = np.concatenate(([0], np.cumsum(counts)[:-1])).astype(int)
        offset = np.arange(most)
        real = offset[None, :] < counts[:, None]
        return np.where(real, first[:, None] + offset[None, :], first[:, None]), real


def _detail_columns(detail: Detail) -> FloatArray:
    """One detail's rods as rows of the columns above, shape (n_rods, 6)."""
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
