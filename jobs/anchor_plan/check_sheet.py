"""The check sheet: everything the plan asks to be measured, in the order of the walk.

Diagonals first, then walls, then each frame line from the corner, then each position's
pattern, then levels, the sheeting notch, and plumb. Nominals come from the plan alone.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from functools import lru_cache

from jobs.anchor_plan.geometry import list_walls
from jobs.anchor_plan.planned_checks import (
    Check,
    CheckKind,
    build_diagonal_check,
    build_gage_check,
    generate_checks,
)
from jobs.anchor_plan.values import Plan

__all__ = ["Check", "CheckKind", "UnknownCheckError", "build_check_sheet", "find_check"]


class UnknownCheckError(ValueError):
    """A check key that the plan does not have; says which it does have."""


def build_check_sheet(plan: Plan) -> tuple[Check, ...]:
    """List what the plan asks to be measured, in the order of the walk."""
    return _load_index(_PlanKey(plan)).checks


def find_check(plan: Plan, key: str) -> Check:
    """Find a check by its key.

    A diagonal or a gage may be named from either end and is returned under its
    canonical key; any two rods of a detail have a gage and any two corners that do
    not share a wall a diagonal, asked for or not. Benchmarks and samples are named
    freely.

    Raises
    ------
    UnknownCheckError
        Says what the plan has instead.
    """
    return _load_index(_PlanKey(plan)).find(key)


@dataclass(frozen=True, eq=False, slots=True)
class _PlanKey:
    """A plan as a cache key, by identity: plans hold dicts and cannot be hashed."""

    plan: Plan

    def __hash__(self) -> int:
        return id(self.plan)

    def __eq__(self, other: object) -> bool:
        return isinstance(other, _PlanKey) and other.plan is self.plan


@lru_cache(maxsize=32)
def _load_index(same: _PlanKey) -> "_CheckIndex":
    return _CheckIndex(same.plan)


class _CheckIndex:
    """The checks of one plan, found by key."""

    def __init__(self, plan: Plan) -> None:
        self.plan = plan
        self.checks = tuple(generate_checks(plan))
        self.by_key = {check.key: check for check in self.checks}
        self.details = {each.mark: plan.details[each.detail] for each in plan.positions}
        self.corners = [each.name for each in plan.outline]
        self.diagonals: dict[str, tuple[str, str]] = {}

    def find(self, key: str) -> Check:
        if found := self.by_key.get(key):
            return found
        word, colon, rest = key.partition(":")
        if word not in CheckKind.__members__.values() or not colon:
            kinds = ", ".join(CheckKind)
            raise UnknownCheckError(
                f"“{key[:120]}” names no check; a key is one of {kinds}, a colon, "
                f"and what is measured, such as line:{self._example_mark()}."
            )
        kind = CheckKind(word)
        if kind in (CheckKind.BENCHMARK, CheckKind.STRENGTH):
            return self._build_named_check(kind, rest)
        if kind is CheckKind.DIAGONAL:
            return self._find_diagonal(rest)
        if kind in (CheckKind.WALL, CheckKind.NOTCH_WIDTH, CheckKind.NOTCH_DEPTH):
            raise UnknownCheckError(self._describe_missing_wall(kind, rest))
        if kind is CheckKind.GAGE and (found := self._find_gage(rest)):
            return found
        raise UnknownCheckError(self._describe_missing_position_check(kind, rest))

    def _build_named_check(self, kind: CheckKind, name: str) -> Check:
        if not name or name != name.strip():
            what = "benchmark" if kind is CheckKind.BENCHMARK else "sample"
            raise UnknownCheckError(
                f"“{kind}:{name}” names no {what}; write {kind}:NAME, without "
                f"spaces at its ends."
            )
        nominal = None
        if kind is CheckKind.STRENGTH:
            nominal = self.plan.concrete.specified_strength
        return Check(
            key=f"{kind}:{name}",
            kind=kind,
            nominal=nominal,
            name=name,
            required=False,
            stage="verification",
        )

    def _find_diagonal(self, rest: str) -> Check:
        if not self.diagonals:
            self.diagonals = dict(_generate_diagonal_names(self.plan))
        ends = self.diagonals.get(rest)
        if ends is None:
            named = ", ".join(self.corners[:12])
            raise UnknownCheckError(
                f"“diagonal:{rest[:100]}” does not join two corners that share no "
                f"wall; the corners are {named}."
            )
        key = f"diagonal:{'-'.join(ends)}"
        return self.by_key.get(key) or build_diagonal_check(
            self.plan, ends, required=False
        )

    def _find_gage(self, rest: str) -> Check | None:
        mark, _, pair = rest.rpartition(".")
        first, dash, second = pair.partition("-")
        detail = self.details.get(mark)
        if detail is None or not dash:
            return None
        numbers = {str(rod.number): rod.number for rod in detail.rods}
        if first == second or first not in numbers or second not in numbers:
            return None
        low, high = sorted((numbers[first], numbers[second]))
        asked = self.by_key.get(f"gage:{mark}.{low}-{high}")
        return asked or build_gage_check(mark, detail, low, high)

    def _describe_missing_wall(self, kind: CheckKind, rest: str) -> str:
        named = ", ".join("-".join(wall) for wall in list_walls(self.plan)[:12])
        if kind is not CheckKind.WALL and self.plan.notch is None:
            return f"“{kind}:{rest[:80]}”: the plan has no sheeting notch."
        return (
            f"“{kind}:{rest[:80]}” names no wall; the walls, named by their corners "
            f"in this order, are {named}."
        )

    def _describe_missing_position_check(self, kind: CheckKind, rest: str) -> str:
        shown = f"“{kind}:{rest[:80]}”"
        whole = kind in (CheckKind.LINE, CheckKind.LEVEL)
        mark = rest if whole or rest in self.details else rest.rpartition(".")[0]
        detail = self.details.get(mark)
        if detail is None:
            alike = [each for each in self.details if each.lower() == mark.lower()]
            hint = f"did you mean {alike[0]}?" if alike else self._list_marks()
            return f"{shown}: there is no position {mark or rest!r} on the plan; {hint}"
        if kind is CheckKind.LINE:
            return f"{shown}: {mark} stands at a point, not on a wall; it has no line."
        if kind is CheckKind.PLUMB:
            return f"{shown}: write plumb:{mark}.in or plumb:{mark}.along."
        numbers = [str(rod.number) for rod in detail.rods]
        if kind is CheckKind.GAGE:
            return (
                f"{shown}: a gage joins two different rods of {mark}, such as "
                f"gage:{mark}.1-2; its rods are 1 to {len(numbers)}."
            )
        if kind is CheckKind.PROJECTION and rest.rpartition(".")[2] in numbers:
            return f"{shown}: the plan gives no projection for this rod."
        return (
            f"{shown}: the rods of {mark} are numbered 1 to {len(numbers)}, "
            f"such as {kind}:{mark}.1."
        )

    def _example_mark(self) -> str:
        return next(iter(self.details), "MARK")

    def _list_marks(self) -> str:
        named = list(self.details)[:8]
        if not named:
            return "it has none."
        more = ", …" if len(self.details) > len(named) else ""
        return f"it has {', '.join(named)}{more}."


def _generate_diagonal_names(plan: Plan) -> Iterator[tuple[str, tuple[str, str]]]:
    """Name every possible diagonal from both ends, with its canonical order."""
    names = [each.name for each in plan.outline]
    asked = {frozenset(ends): ends for ends in plan.diagonals}
    for i, first in enumerate(names):
        for j in range(i + 2, len(names)):
            if i == 0 and j == len(names) - 1:
                continue
            ends = asked.get(frozenset((first, names[j])), (first, names[j]))
            yield "-".join(ends), ends
            yield "-".join(reversed(ends)), ends
