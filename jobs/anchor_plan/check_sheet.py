"""The check sheet: every check of a plan, in the order they are measured.

Diagonals first, then walls, then each line from its corner, then each position's
pattern, then bays and spans, then levels, the sheeting notch, and plumb. Nominals come
from the plan alone.
"""

from collections import defaultdict
from collections.abc import Callable, Iterator
from functools import lru_cache

from core.vocabulary import StageKind
from jobs.anchor_plan.check_keys import (
    CORNER_KINDS,
    NAMED_KINDS,
    PAIR_KINDS,
    CheckKey,
    CheckKind,
    kind_of,
)
from jobs.anchor_plan.geometry import list_walls
from jobs.anchor_plan.neighbours import find_bays, find_facing_pairs, find_spans
from jobs.anchor_plan.planned_checks import (
    Check,
    build_diagonal_check,
    build_gage_check,
    build_pair_check,
    generate_checks,
)
from jobs.anchor_plan.values import Plan, PlanKey

MAX_LISTED_CORNERS = 12
MAX_LISTED_MARKS = 8
MAX_SHOWN_KEY = 120


class UnknownCheckError(ValueError):
    """A check key that the plan does not have; the message says which it has."""


def build_check_sheet(plan: Plan) -> tuple[Check, ...]:
    """List the checks of a plan, in the order they are measured."""
    return _load_index(PlanKey(plan)).checks


def find_check(plan: Plan, key: str) -> Check:
    """Find a check by its key.

    A diagonal, a gage, a bay or a span may be named from either end and is returned
    under its canonical key. Any two rods of a detail have a gage, any two corners that
    share no wall a diagonal, and any two positions that face each other a span, planned
    or not. Benchmarks and samples are named freely.

    Raises
    ------
    UnknownCheckError
        Says what the plan has instead.
    """
    return load_check_finder(plan)(key)


def load_check_finder(plan: Plan) -> Callable[[str], Check]:
    """Return `find_check` of one plan, for whoever asks for thousands of checks."""
    return _load_index(PlanKey(plan)).find


@lru_cache(maxsize=32)
def _load_index(key: PlanKey) -> "_CheckIndex":
    return _CheckIndex(key.plan)


class _CheckIndex:
    """The checks of one plan, found by key."""

    def __init__(self, plan: Plan) -> None:
        self.plan = plan
        self.checks = tuple(generate_checks(plan))
        self.by_key: dict[str, Check] = {check.key: check for check in self.checks}
        self.details = {each.mark: plan.details[each.detail] for each in plan.positions}
        self.corners = [each.name for each in plan.outline]
        self.diagonals: dict[str, tuple[str, str]] = {}
        self.pairs: dict[str, list[Check]] = {}

    def find(self, key: str) -> Check:
        # Nearly every key is a planned one; the rest only explains what is wrong.
        if found := self.by_key.get(key):
            return found
        kind = kind_of(key)
        if kind is None:
            kinds = ", ".join(CheckKind)
            raise UnknownCheckError(
                f"“{key[:MAX_SHOWN_KEY]}” names no check; a key is one of {kinds}, a "
                f"colon, and what is measured, such as line:{self._example_mark()}."
            )
        subject = key[len(kind) + 1 :]
        if kind in NAMED_KINDS:
            return self._build_named_check(kind, subject)
        if kind is CheckKind.DIAGONAL:
            return self._find_diagonal(subject)
        if kind in CORNER_KINDS:
            raise UnknownCheckError(self._describe_missing_wall(kind, subject))
        if kind in PAIR_KINDS:
            return self._find_pair(kind, subject)
        if kind is CheckKind.GAGE and (found := self._find_gage(subject)):
            return found
        raise UnknownCheckError(self._describe_missing_position_check(kind, subject))

    def _build_named_check(self, kind: CheckKind, name: str) -> Check:
        if not name or name != name.strip():
            noun = "benchmark" if kind is CheckKind.BENCHMARK else "sample"
            raise UnknownCheckError(
                f"“{kind}:{name}” names no {noun}; write {kind}:NAME, without "
                f"spaces at its ends."
            )
        nominal = None
        if kind is CheckKind.STRENGTH:
            nominal = self.plan.concrete.specified_strength
        return Check(
            key=CheckKey.for_name(kind, name),
            kind=kind,
            nominal=nominal,
            name=name,
            required=False,
            stage=StageKind.VERIFICATION,
        )

    def _find_diagonal(self, subject: str) -> Check:
        if not self.diagonals:
            self.diagonals = dict(_generate_diagonal_names(self.plan))
        ends = self.diagonals.get(subject)
        if ends is None:
            named = ", ".join(self.corners[:MAX_LISTED_CORNERS])
            raise UnknownCheckError(
                f"“diagonal:{subject[:100]}” does not join two corners that share no "
                f"wall; the corners are {named}."
            )
        planned = self.by_key.get(CheckKey.for_corners(CheckKind.DIAGONAL, ends))
        return planned or build_diagonal_check(self.plan, ends, required=False)

    def _find_pair(self, kind: CheckKind, subject: str) -> Check:
        """Find a bay or span from either end; hyphens in marks may fit several."""
        if not self.pairs:
            self.pairs = _name_pairs(self.plan)
        found = self.pairs.get(f"{kind}:{subject}", [])
        if len(found) == 1:
            return found[0]
        shown = f"“{kind}:{subject[:80]}”"
        if found:
            readings = " or ".join(" and ".join(check.marks) for check in found)
            raise UnknownCheckError(
                f"{shown} can mean {readings}; name the positions without hyphens."
            )
        raise UnknownCheckError(f"{shown} {self._describe_missing_pair(kind)}")

    def _describe_missing_pair(self, kind: CheckKind) -> str:
        if kind is CheckKind.BAY:
            rule = "joins no two positions that follow each other along a wall"
        else:
            rule = "joins no two positions that face each other across a frame"
        named = ["-".join(check.marks) for check in self.checks if check.kind is kind]
        if not named:
            return f"{rule}; the plan has no {kind}."
        more = ", …" if len(named) > MAX_LISTED_MARKS else ""
        return f"{rule}; the {kind}s are {', '.join(named[:MAX_LISTED_MARKS])}{more}."

    def _find_gage(self, subject: str) -> Check | None:
        mark, _, pair = subject.rpartition(".")
        first, dash, second = pair.partition("-")
        detail = self.details.get(mark)
        if detail is None or not dash:
            return None
        numbers = {str(rod.number): rod.number for rod in detail.rods}
        if first == second or first not in numbers or second not in numbers:
            return None
        low, high = sorted((numbers[first], numbers[second]))
        planned = self.by_key.get(CheckKey.for_gage(mark, low, high))
        return planned or build_gage_check(mark, detail, low, high)

    def _describe_missing_wall(self, kind: CheckKind, subject: str) -> str:
        walls = list_walls(self.plan)[:MAX_LISTED_CORNERS]
        named = ", ".join("-".join(wall) for wall in walls)
        if kind is not CheckKind.WALL and self.plan.notch is None:
            return f"“{kind}:{subject[:80]}”: the plan has no sheeting notch."
        return (
            f"“{kind}:{subject[:80]}” names no wall; the walls, named by their corners "
            f"in this order, are {named}."
        )

    def _describe_missing_position_check(self, kind: CheckKind, subject: str) -> str:
        shown = f"“{kind}:{subject[:80]}”"
        whole = kind in (CheckKind.LINE, CheckKind.LEVEL) or subject in self.details
        mark = subject if whole else subject.rpartition(".")[0]
        detail = self.details.get(mark)
        if detail is None:
            alike = [each for each in self.details if each.lower() == mark.lower()]
            hint = f"did you mean {alike[0]}?" if alike else self._list_marks()
            return (
                f"{shown}: there is no position {mark or subject!r} on the plan; {hint}"
            )
        if kind is CheckKind.LINE:
            return f"{shown}: {mark} is at a point, not on a wall; it has no line."
        if kind is CheckKind.PLUMB:
            return f"{shown}: write plumb:{mark}.in or plumb:{mark}.along."
        numbers = [str(rod.number) for rod in detail.rods]
        if kind is CheckKind.GAGE:
            return (
                f"{shown}: a gage joins two different rods of {mark}, such as "
                f"gage:{mark}.1-2; its rods are 1 to {len(numbers)}."
            )
        if kind is CheckKind.PROJECTION and subject.rpartition(".")[2] in numbers:
            return f"{shown}: the plan has no projection for this rod."
        return (
            f"{shown}: the rods of {mark} are numbered 1 to {len(numbers)}, "
            f"such as {kind}:{mark}.1."
        )

    def _example_mark(self) -> str:
        return next(iter(self.details), "MARK")

    def _list_marks(self) -> str:
        named = list(self.details)[:MAX_LISTED_MARKS]
        if not named:
            return "it has none."
        more = ", …" if len(self.details) > len(named) else ""
        return f"it has {', '.join(named)}{more}."


def _name_pairs(plan: Plan) -> dict[str, list[Check]]:
    """Name every bay and span from both ends; facing pairs beyond the spans too."""
    named: dict[str, dict[str, Check]] = defaultdict(dict)
    for kind, pairs in (
        (CheckKind.BAY, find_bays(plan)),
        (CheckKind.SPAN, (*find_spans(plan), *find_facing_pairs(plan))),
    ):
        for pair in pairs:
            check = build_pair_check(plan, kind, pair)
            first, second = check.marks
            for key in (check.key, CheckKey.for_pair(kind, (second, first))):
                named[key][f"{first}\n{second}"] = check
    return {key: list(checks.values()) for key, checks in named.items()}


def _generate_diagonal_names(plan: Plan) -> Iterator[tuple[str, tuple[str, str]]]:
    """Name every possible diagonal from both ends, with its canonical order."""
    names = [each.name for each in plan.outline]
    planned = {frozenset(ends): ends for ends in plan.diagonals}
    for i, first in enumerate(names):
        for j in range(i + 2, len(names)):
            # The first and the last corner share a wall.
            if i == 0 and j == len(names) - 1:
                continue
            ends = planned.get(frozenset((first, names[j])), (first, names[j]))
            yield "-".join(ends), ends
            yield "-".join(reversed(ends)), ends
