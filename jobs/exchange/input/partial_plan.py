"""A partial plan, so that readings can be validated even if the plan has issues.

All issues of a document are listed at once. Readings are therefore parsed also where
something of the plan was refused: against what is known of it, with placeholders for
the rest. What depends on a placeholder is no issue.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import cached_property

from jobs.anchor_plan.check_keys import (
    CORNER_KINDS,
    NOTCH_KINDS,
    PAIR_KINDS,
    POSITION_KINDS,
    CheckKind,
    kind_of,
)
from jobs.anchor_plan.check_sheet import load_check_finder
from jobs.anchor_plan.planned_checks import Check
from jobs.anchor_plan.values import Corner, Detail, Plan, Rod

_WALL_KINDS = CORNER_KINDS | PAIR_KINDS | {CheckKind.LINE}
_UNREADABLE = "\x00"  # no name of a document can have this character
_PLACEHOLDER_OUTLINE = tuple(
    Corner(name=f"{_UNREADABLE}{number}", x=x, y=y)
    for number, (x, y) in enumerate(((0.0, 0.0), (1.0, 0.0), (0.0, 1.0)))
)
_PLACEHOLDER_DETAIL = Detail(name=_UNREADABLE, reference="web", rods=())


@dataclass(frozen=True)
class PartialPlan:
    """A plan, and which parts of it are placeholders.

    Attributes
    ----------
    plan : not to be used for anything else where something of it was refused.
    unknown_kinds : kinds of checks of which it is not known what the plan has.
    marks_without_rods, marks_without_wall : positions whose rods, or whose wall, are
        not known.
    marks_known : true if every position has a readable mark.
    instruments_known : true if the names of the instruments can be read.
    """

    plan: Plan
    unknown_kinds: frozenset[CheckKind] = frozenset()
    marks_without_rods: frozenset[str] = frozenset()
    marks_without_wall: frozenset[str] = frozenset()
    marks_known: bool = True
    instruments_known: bool = True

    @property
    def is_complete(self) -> bool:
        """True if nothing of the plan was refused."""
        return self.marks_known and not (
            self.unknown_kinds or self.marks_without_rods or self.marks_without_wall
        )

    @cached_property
    def find_check(self) -> Callable[[str], Check]:
        """Finds a check by its key, as `check_sheet.find_check` does."""
        return load_check_finder(self.plan)

    def can_rule_out(self, key: str) -> bool:
        """Return True if enough of the plan is known to say that it lacks a check."""
        kind = kind_of(key)
        if kind is None or self.is_complete:
            return True
        if kind in self.unknown_kinds:
            return False
        if kind in PAIR_KINDS:
            # Which positions are neighbours depends on where all of them are.
            return self.marks_known and not self.marks_without_wall
        if kind not in POSITION_KINDS:
            return True
        subject = key[len(kind) + 1 :]
        if kind is CheckKind.LINE and subject in self.marks_without_wall:
            return False
        # A mark may contain dots itself, so try the whole subject first.
        whole = subject in self.marks_without_rods
        mark = subject if whole else subject.rpartition(".")[0]
        return self.marks_known and mark not in self.marks_without_rods


def build_partial_plan(
    plan: Plan, *, notch_known: bool, marks_known: bool, instruments_known: bool
) -> PartialPlan:
    """Fill what is missing of a plan with placeholders.

    Parameters
    ----------
    plan : what could be read; its outline is empty if the corners make none.
    notch_known, marks_known, instruments_known : False if these cannot be read.
    """
    corners = {each.name for each in plan.outline}
    unknown_kinds = frozenset() if corners else _WALL_KINDS
    marked = [each for each in plan.positions if each.mark]
    known = {name for name, detail in plan.details.items() if detail.rods}
    return PartialPlan(
        plan=Plan(
            name=plan.name,
            length_unit=plan.length_unit,
            outline=plan.outline or _PLACEHOLDER_OUTLINE,
            diagonals=tuple(ends for ends in plan.diagonals if set(ends) <= corners),
            details={**plan.details, _UNREADABLE: _PLACEHOLDER_DETAIL},
            positions=tuple(
                each if each.detail in known else replace(each, detail=_UNREADABLE)
                for each in marked
            ),
            notch=plan.notch,
            concrete=plan.concrete,
            instruments=plan.instruments,
        ),
        unknown_kinds=unknown_kinds if notch_known else unknown_kinds | NOTCH_KINDS,
        marks_without_rods=frozenset(
            each.mark for each in marked if each.detail not in known
        ),
        marks_without_wall=frozenset(
            each.mark for each in marked if each.wall is None and each.x is None
        ),
        marks_known=marks_known and len(marked) == len(plan.positions),
        instruments_known=instruments_known,
    )


def placeholder_rod(number: int, *, projecting: bool) -> Rod:
    """Return a placeholder for a refused rod, so that the others keep their numbers."""
    at = -float(number)  # apart from the others, and where any setback may be [mm]
    return Rod(
        number=number,
        along=at,
        inward=at,
        diameter=1.0,
        projection=1.0 if projecting else None,
    )
