"""The bad checks of one building, and the causes found for them."""

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from checks.engine.arrays import FloatArray
from checks.evaluation.table import CheckTable
from core.units import format_length
from jobs.plan.model import Detail
from jobs.plan.sheet import Check, Kind

if TYPE_CHECKING:
    from checks.evaluation.judged import Judged


Wall = tuple[str, str]


def capital(sentence: str) -> str:
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


class Suspects:
    """The bad checks of a building, and those already explained."""

    def __init__(self, judged: "Judged") -> None:
        self.judged = judged
        self.table: CheckTable = judged.table
        words = judged.words
        bad = np.flatnonzero((words == "outside") | (words == "remeasure")).tolist()
        self.bad = frozenset(bad)
        self.open = set(bad)
        self._bad_of: dict[Kind, list[int]] = defaultdict(list)
        for row in bad:
            self._bad_of[self.check(row).kind].append(row)
        self._position = {p.mark: p for p in judged.plan.positions}

    def rows(self, *kinds: Kind) -> list[int]:
        """Rows of these kinds that are bad and not yet explained."""
        bad = (row for kind in kinds for row in self._bad_of[kind])
        return [row for row in bad if row in self.open]

    def check(self, row: int) -> Check:
        return self.table.checks[row]

    def detail(self, row: int) -> Detail:
        """The detail of the position a check is at."""
        position = self._position[self.check(row).mark or ""]
        return self.judged.plan.details[position.detail]

    def wall(self, row: int) -> Wall | None:
        """The wall of the position a check is at, None for one at a point."""
        position = self._position.get(self.check(row).mark or "")
        return None if position is None else position.wall

    def by_wall(self, kind: Kind) -> dict[Wall, list[int]]:
        """Bad rows of one kind by their position's wall."""
        groups: dict[Wall, list[int]] = defaultdict(list)
        for row in self.rows(kind):
            wall = self.wall(row)
            if wall is not None:
                groups[wall].append(row)
        return groups

    def by_mark(self, *kinds: Kind) -> dict[str, list[int]]:
        """Bad rows of these kinds by their position."""
        groups: dict[str, list[int]] = defaultdict(list)
        for row in self.rows(*kinds):
            groups[self.check(row).mark or ""].append(row)
        return groups

    def measured_on(self, kind: Kind, wall: Wall) -> list[int]:
        """Every measured row of one kind on a wall, bad or not."""
        return [row for row in self._measured(kind) if self.wall(row) == wall]

    def measured_at(self, kind: Kind, mark: str) -> list[int]:
        """Every measured row of one kind at a position, bad or not."""
        return [row for row in self._measured(kind) if self.check(row).mark == mark]

    def pattern(self, row: int) -> list[int]:
        """Every measured row of the pattern a check belongs to, its line too."""
        mark = self.check(row).mark or ""
        kinds = (Kind.LINE, Kind.SETBACK, Kind.OFFSET, Kind.GAGE)
        return [each for kind in kinds for each in self.measured_at(kind, mark)]

    def _measured(self, kind: Kind) -> list[int]:
        count = self.judged.observed.count
        return [int(row) for row in self.table.rows(kind) if count[row]]

    def diameter(self, rows: Iterable[int]) -> FloatArray:
        """Diameter of the rod each check is of. [mm]"""
        return np.array(
            [
                self.detail(row).rods[self.check(row).rods[0] - 1].diameter
                for row in rows
            ]
        )

    def as_read(self, rows: Iterable[int]) -> FloatArray:
        """Deviations the way the tape ran: a line may be read from the far corner."""
        return np.array([self._sense(row) for row in rows]) * self.deviation(rows)

    def _sense(self, row: int) -> float:
        wall, readings = self.wall(row), self.judged.observed.readings[row]
        if wall is None or self.check(row).kind is not Kind.LINE:
            return 1.0
        return -1.0 if any(r.corner == wall[1] for r in readings) else 1.0

    def tolerance(self, rows: Iterable[int]) -> FloatArray:
        """What may be left over of each: its limit and its expanded uncertainty."""
        which = list(rows)
        sigma = np.nan_to_num(self.judged.sigma[which])
        return np.asarray(self.judged.bounds.size[which] + 2.0 * sigma, np.float64)

    def deviation(self, rows: Iterable[int]) -> FloatArray:
        return self.judged.deviation[list(rows)]

    def length(self, mm: float) -> str:
        return format_length(abs(mm), self.judged.style, 32)

    def explain(self, cause: str, rows: Iterable[int], explanation: str) -> LikelyCause:
        """Name the cause of some rows and take them off the list."""
        which = list(rows)
        self.open.difference_update(which)
        observed = self.judged.observed
        return LikelyCause(
            cause=cause,
            checks=tuple(self.check(row).key for row in which),
            readings=tuple(r.id for row in which for r in observed.readings[row]),
            explanation=explanation,
        )
