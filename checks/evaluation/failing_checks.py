"""The bad checks of one building, and the causes found for them."""

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from checks.engine.arrays import FloatArray
from checks.evaluation.check_table import CheckTable
from core.units import format_length
from jobs.anchor_plan.check_keys import CheckKind
from jobs.anchor_plan.planned_checks import Check
from jobs.anchor_plan.values import Detail

if TYPE_CHECKING:
    from checks.evaluation.building_evaluation import BuildingEvaluation


Wall = tuple[str, str]


def capitalize_first(sentence: str) -> str:
    """A sentence's first letter large, the others as they are: marks keep theirs."""
    return sentence[:1].upper() + sentence[1:]


@dataclass(frozen=True, slots=True, kw_only=True)
class LikelyCause:
    """A mistake that would explain what was read. A hint: it changes no number."""

    cause: str
    checks: tuple[str, ...]
    readings: tuple[str, ...]
    explanation: str

    def as_result(self) -> dict[str, Any]:
        """A finding's `likely_cause`."""
        return {
            "cause": self.cause,
            "checks": list(self.checks),
            "readings": list(self.readings),
            "explanation": self.explanation,
        }


class FailingChecks:
    """The bad checks of a building, and those already explained."""

    def __init__(self, judged: "BuildingEvaluation") -> None:
        self.evaluation = judged
        self.table: CheckTable = judged.table
        words = judged.verdicts
        bad = np.flatnonzero((words == "outside") | (words == "remeasure")).tolist()
        self.failing = frozenset(bad)
        self.unexplained = set(bad)
        self._failing_by_kind: dict[CheckKind, list[int]] = defaultdict(list)
        for row in bad:
            self._failing_by_kind[self.check(row).kind].append(row)
        self._position_by_mark = {p.mark: p for p in judged.plan.positions}

    def unexplained_rows(self, *kinds: CheckKind) -> list[int]:
        """Rows of these kinds that are bad and not yet explained."""
        bad = (row for kind in kinds for row in self._failing_by_kind[kind])
        return [row for row in bad if row in self.unexplained]

    def check(self, row: int) -> Check:
        return self.table.checks[row]

    def detail(self, row: int) -> Detail:
        """The detail of the position a check is at."""
        position = self._position_by_mark[self.check(row).mark or ""]
        return self.evaluation.plan.details[position.detail]

    def wall(self, row: int) -> Wall | None:
        """The wall of the position a check is at, None for one at a point."""
        position = self._position_by_mark.get(self.check(row).mark or "")
        return None if position is None else position.wall

    def rows_by_wall(self, kind: CheckKind) -> dict[Wall, list[int]]:
        """Bad rows of one kind by their position's wall."""
        groups: dict[Wall, list[int]] = defaultdict(list)
        for row in self.unexplained_rows(kind):
            wall = self.wall(row)
            if wall is not None:
                groups[wall].append(row)
        return groups

    def rows_by_mark(self, *kinds: CheckKind) -> dict[str, list[int]]:
        """Bad rows of these kinds by their position."""
        groups: dict[str, list[int]] = defaultdict(list)
        for row in self.unexplained_rows(*kinds):
            groups[self.check(row).mark or ""].append(row)
        return groups

    def measured_rows_on_wall(self, kind: CheckKind, wall: Wall) -> list[int]:
        """Every measured row of one kind on a wall, bad or not."""
        return [row for row in self._measured_rows(kind) if self.wall(row) == wall]

    def measured_rows_at(self, kind: CheckKind, mark: str) -> list[int]:
        """Every measured row of one kind at a position, bad or not."""
        return [
            row for row in self._measured_rows(kind) if self.check(row).mark == mark
        ]

    def pattern_rows(self, row: int) -> list[int]:
        """Every measured row of the pattern a check belongs to, its line too."""
        mark = self.check(row).mark or ""
        kinds = (CheckKind.LINE, CheckKind.SETBACK, CheckKind.OFFSET, CheckKind.GAGE)
        return [each for kind in kinds for each in self.measured_rows_at(kind, mark)]

    def _measured_rows(self, kind: CheckKind) -> list[int]:
        count = self.evaluation.observations.count
        return [int(row) for row in self.table.rows(kind) if count[row]]

    def rod_diameters(self, rows: Iterable[int]) -> FloatArray:
        """Diameter of the rod each check is of. [mm]"""
        return np.array(
            [
                self.detail(row).rods[self.check(row).rods[0] - 1].diameter
                for row in rows
            ]
        )

    def deviations_as_read(self, rows: Iterable[int]) -> FloatArray:
        """Deviations the way the tape ran: a line may be read from the far corner."""
        return np.array(
            [self._reading_direction(row) for row in rows]
        ) * self.deviations(rows)

    def _reading_direction(self, row: int) -> float:
        wall, readings = self.wall(row), self.evaluation.observations.readings[row]
        if wall is None or self.check(row).kind is not CheckKind.LINE:
            return 1.0
        return -1.0 if any(r.from_corner == wall[1] for r in readings) else 1.0

    def tolerances(self, rows: Iterable[int]) -> FloatArray:
        """What may be left over of each: its limit and its expanded uncertainty."""
        which = list(rows)
        sigma = np.nan_to_num(self.evaluation.sigma[which])
        return np.asarray(self.evaluation.bounds.size[which] + 2.0 * sigma, np.float64)

    def deviations(self, rows: Iterable[int]) -> FloatArray:
        return self.evaluation.deviation[list(rows)]

    def length_text(self, mm: float) -> str:
        return format_length(abs(mm), self.evaluation.style, 32)

    def explain(self, cause: str, rows: Iterable[int], explanation: str) -> LikelyCause:
        """Name the cause of some rows and take them off the list."""
        which = list(rows)
        self.unexplained.difference_update(which)
        observed = self.evaluation.observations
        return LikelyCause(
            cause=cause,
            checks=tuple(self.check(row).key for row in which),
            readings=tuple(r.id for row in which for r in observed.readings[row]),
            explanation=explanation,
        )
