"""The failing checks of one building, and which of them are explained."""

from collections import defaultdict
from collections.abc import Iterable, Iterator

import numpy as np
import numpy.typing as npt

from checks.engine.arrays import FloatArray
from checks.engine.conformity import COVERAGE_FACTOR
from checks.evaluation.building_evaluation import BuildingEvaluation
from checks.evaluation.check_table import CheckTable
from checks.evaluation.likely_cause import CauseKind, LikelyCause
from checks.evaluation.verdicts import find_failing
from core.units import format_length
from jobs.anchor_plan.check_keys import CheckKind
from jobs.anchor_plan.planned_checks import Check
from jobs.anchor_plan.values import Detail

Wall = tuple[str, str]

MIN_WALL_SHARE = 0.6
"""Share of a wall's readings that must show the same mistake. Project choice."""


def capitalize_first(sentence: str) -> str:
    """Capitalise the first letter only: `str.capitalize` would lower the marks."""
    return sentence[:1].upper() + sentence[1:]


def select_rows(rows: list[int], chosen: npt.NDArray[np.bool_]) -> list[int]:
    """Return the rows where `chosen`, shape (n_rows,), is True."""
    return [row for row, yes in zip(rows, chosen.tolist(), strict=True) if yes]


def find_failing_checks(
    evaluation: BuildingEvaluation, *kinds: CheckKind
) -> Iterator[tuple[int, Check]]:
    """Yield row and check of these kinds that are outside or to be measured again."""
    rows = evaluation.table.rows(*kinds)
    for row in rows[find_failing(evaluation.verdicts[rows])].tolist():
        yield row, evaluation.table.checks[row]


class FailingChecks:
    """The checks of a building that are outside or to be measured again.

    Attributes
    ----------
    failing_rows : rows of all of them in the check table.
    unexplained : the rows that no likely cause explains yet; `explain` shrinks it.
    """

    def __init__(self, evaluation: BuildingEvaluation) -> None:
        self.evaluation = evaluation
        self.table: CheckTable = evaluation.table
        failing = np.flatnonzero(find_failing(evaluation.verdicts)).tolist()
        self.failing_rows = frozenset(failing)
        self.unexplained = set(failing)
        self._failing_by_kind: dict[CheckKind, list[int]] = defaultdict(list)
        for row in failing:
            self._failing_by_kind[self.check(row).kind].append(row)
        self._position_by_mark = {p.mark: p for p in evaluation.plan.positions}
        # Measured rows of each kind, grouped once: finders ask position by position.
        self._rows_at: dict[CheckKind, dict[str | None, list[int]]] = {}
        self._rows_on: dict[CheckKind, dict[Wall | None, list[int]]] = {}

    def unexplained_rows(self, *kinds: CheckKind) -> list[int]:
        """Return the failing rows of these kinds that are not yet explained.

        Those whose repeats contradict have no deviation to explain: see
        `contradicted_rows`.
        """
        contradicted = self.evaluation.observations.contradicted
        return [row for row in self._unexplained(kinds) if not contradicted[row]]

    def contradicted_rows(self, *kinds: CheckKind) -> list[int]:
        """Return the unexplained rows of these kinds whose repeats contradict."""
        contradicted = self.evaluation.observations.contradicted
        return [row for row in self._unexplained(kinds) if contradicted[row]]

    def _unexplained(self, kinds: Iterable[CheckKind]) -> Iterator[int]:
        for kind in kinds:
            for row in self._failing_by_kind[kind]:
                if row in self.unexplained:
                    yield row

    def check(self, row: int) -> Check:
        return self.table.checks[row]

    def describe(self, row: int) -> str:
        """Return the name of a check for a sentence."""
        return self.table.checks[row].description

    def detail(self, row: int) -> Detail:
        """Return the detail of the position of a check."""
        position = self._position_by_mark[self.check(row).mark or ""]
        return self.evaluation.plan.details[position.detail]

    def wall(self, row: int) -> Wall | None:
        """Return the wall of a check's position; None for a position at a point."""
        position = self._position_by_mark.get(self.check(row).mark or "")
        return None if position is None else position.wall

    def rows_by_wall(self, kind: CheckKind) -> dict[Wall, list[int]]:
        """Group the unexplained rows of one kind by the wall of their position."""
        groups: dict[Wall, list[int]] = defaultdict(list)
        for row in self.unexplained_rows(kind):
            wall = self.wall(row)
            if wall is not None:
                groups[wall].append(row)
        return groups

    def rows_by_mark(self, *kinds: CheckKind) -> dict[str, list[int]]:
        """Group the unexplained rows of these kinds by position mark."""
        groups: dict[str, list[int]] = defaultdict(list)
        for row in self.unexplained_rows(*kinds):
            groups[self.check(row).mark or ""].append(row)
        return groups

    def measured_rows_on_wall(self, kind: CheckKind, wall: Wall) -> list[int]:
        """Return every measured row of one kind on a wall, failing or not."""
        if kind not in self._rows_on:
            groups: dict[Wall | None, list[int]] = defaultdict(list)
            for row in self._measured_rows(kind):
                groups[self.wall(row)].append(row)
            self._rows_on[kind] = groups
        return self._rows_on[kind].get(wall, [])

    def measured_rows_at(self, kind: CheckKind, mark: str) -> list[int]:
        """Return every measured row of one kind at a position, failing or not."""
        if kind not in self._rows_at:
            groups: dict[str | None, list[int]] = defaultdict(list)
            for row in self._measured_rows(kind):
                groups[self.check(row).mark].append(row)
            self._rows_at[kind] = groups
        return self._rows_at[kind].get(mark, [])

    def count_positions(self, rows: Iterable[int]) -> int:
        """Count the positions that some rows are at."""
        return len({self.check(row).mark for row in rows})

    def covers_most_of_wall(self, kind: CheckKind, wall: Wall, rows: list[int]) -> bool:
        """Return True where hardly a measured check of the wall is not among rows."""
        measured = self.measured_rows_on_wall(kind, wall)
        return len(rows) >= MIN_WALL_SHARE * len(measured)

    def pattern_rows(self, row: int) -> list[int]:
        """Return every measured row of the pattern of a check, its line included."""
        mark = self.check(row).mark or ""
        kinds = (CheckKind.LINE, CheckKind.SETBACK, CheckKind.OFFSET, CheckKind.GAGE)
        return [each for kind in kinds for each in self.measured_rows_at(kind, mark)]

    def _measured_rows(self, kind: CheckKind) -> list[int]:
        measured = self.evaluation.observations.contributing
        return [int(row) for row in self.table.rows(kind) if measured[row]]

    def rod_diameters(self, rows: Iterable[int]) -> FloatArray:
        """Return the diameter of the rod of each check. [mm]"""
        return np.array(
            [
                self.detail(row).rods[self.check(row).rods[0] - 1].diameter
                for row in rows
            ]
        )

    def deviations_as_read(self, rows: Iterable[int]) -> FloatArray:
        """Return deviations in the direction of the tape. [mm]

        A line may be read from either corner of its wall.
        """
        direction = np.array([self._reading_direction(row) for row in rows])
        return direction * self.deviations(rows)

    def _reading_direction(self, row: int) -> float:
        wall, readings = self.wall(row), self.evaluation.observations.readings[row]
        if wall is None or self.check(row).kind is not CheckKind.LINE:
            return 1.0
        # From the far corner a tape that reads long makes the converted line short.
        return -1.0 if any(r.from_corner == wall[1] for r in readings) else 1.0

    def tolerances(self, rows: Iterable[int]) -> FloatArray:
        """Return the residual each check may keep: limit plus expanded uncertainty."""
        which = list(rows)
        sigma = np.nan_to_num(self.evaluation.sigma[which])
        return np.asarray(
            self.evaluation.bounds.size[which] + COVERAGE_FACTOR * sigma, float
        )

    def deviations(self, rows: Iterable[int]) -> FloatArray:
        return self.evaluation.deviation[list(rows)]

    def length_text(self, mm: float) -> str:
        return format_length(abs(mm), self.evaluation.style, 32)

    def explain(
        self, cause: CauseKind, rows: Iterable[int], explanation: str
    ) -> LikelyCause:
        """Build the cause of some rows and mark the rows as explained."""
        which = list(rows)
        self.unexplained.difference_update(which)
        observations = self.evaluation.observations
        return LikelyCause(
            cause=cause,
            checks=tuple(self.check(row).key for row in which),
            readings=tuple(r.id for row in which for r in observations.readings[row]),
            explanation=explanation,
        )
