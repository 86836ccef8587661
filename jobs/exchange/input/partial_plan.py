"""A plan to read readings by, also where something of the plan was refused.

Every error is to be told at once, so readings are read even then: by what is known of
the plan, with stand-ins for the rest. What hangs on a stand-in is not refused.
"""

from dataclasses import dataclass, replace

from jobs.anchor_plan.check_keys import CheckKind
from jobs.anchor_plan.values import Corner, Detail, Plan, Rod

_WALL_KINDS = frozenset(
    {
        CheckKind.DIAGONAL,
        CheckKind.WALL,
        CheckKind.LINE,
        CheckKind.NOTCH_WIDTH,
        CheckKind.NOTCH_DEPTH,
    }
)
_NOTCH_KINDS = frozenset({CheckKind.NOTCH_WIDTH, CheckKind.NOTCH_DEPTH})
_POSITION_KINDS = frozenset(CheckKind) - {
    CheckKind.DIAGONAL,
    CheckKind.WALL,
    CheckKind.BENCHMARK,
    CheckKind.STRENGTH,
    *_NOTCH_KINDS,
}
_PLACEHOLDER_OUTLINE = tuple(
    Corner(name=f"\x00{number}", x=x, y=y)  # such a name cannot be read
    for number, (x, y) in enumerate(((0.0, 0.0), (1.0, 0.0), (0.0, 1.0)))
)
_PLACEHOLDER_DETAIL_NAME = "\x00"
_PLACEHOLDER_DETAIL = Detail(name=_PLACEHOLDER_DETAIL_NAME, reference="web", rods=())


@dataclass(frozen=True, slots=True)
class PartialPlan:
    """A plan, and what of it is a stand-in.

    Attributes
    ----------
    plan : never to be let out where something of it was refused.
    unsure : kinds of checks of which cannot be told what the plan has.
    rodless, unplaced : marks of positions whose rods, or whose wall, are not known.
    marks_known : whether every position has a readable mark.
    instruments_known : whether the instruments' names can be read.
    """

    plan: Plan
    unknown_kinds: frozenset[CheckKind] = frozenset()
    marks_without_rods: frozenset[str] = frozenset()
    marks_without_wall: frozenset[str] = frozenset()
    marks_known: bool = True
    instruments_known: bool = True

    def can_rule_out(self, kind: CheckKind | None, key: str) -> bool:
        """Whether the plan is known well enough to say that it lacks a check."""
        if kind in self.unknown_kinds:
            return False
        if kind not in _POSITION_KINDS:
            return True
        rest = key.partition(":")[2]
        if kind is CheckKind.LINE and rest in self.marks_without_wall:
            return False
        mark = rest if rest in self.marks_without_rods else rest.rpartition(".")[0]
        return self.marks_known and mark not in self.marks_without_rods


def build_partial_plan(
    plan: Plan, *, notch: bool, marks: bool, instruments: bool
) -> PartialPlan:
    """Fill what is missing of a plan with stand-ins.

    Parameters
    ----------
    plan : whatever of it could be read; its outline is empty where that makes none.
    notch, marks, instruments : whether these are known.
    """
    corners = {each.name for each in plan.outline}
    unsure = frozenset() if corners else _WALL_KINDS
    marked = [each for each in plan.positions if each.mark]
    known = {name for name, detail in plan.details.items() if detail.rods}
    return PartialPlan(
        plan=Plan(
            name=plan.name,
            length_unit=plan.length_unit,
            outline=plan.outline or _PLACEHOLDER_OUTLINE,
            diagonals=tuple(ends for ends in plan.diagonals if set(ends) <= corners),
            details={**plan.details, _PLACEHOLDER_DETAIL_NAME: _PLACEHOLDER_DETAIL},
            positions=tuple(
                each
                if each.detail in known
                else replace(each, detail=_PLACEHOLDER_DETAIL_NAME)
                for each in marked
            ),
            notch=plan.notch,
            concrete=plan.concrete,
            instruments=plan.instruments,
        ),
        unknown_kinds=unsure if notch else unsure | _NOTCH_KINDS,
        marks_without_rods=frozenset(
            each.mark for each in marked if each.detail not in known
        ),
        marks_without_wall=frozenset(
            e.mark for e in marked if e.wall is None and e.x is None
        ),
        marks_known=marks and len(marked) == len(plan.positions),
        instruments_known=instruments,
    )


def placeholder_rod(number: int, *, projecting: bool) -> Rod:
    """Stand in for a rod that is refused, so that the others keep their numbers."""
    place = -float(number)  # of its own, and where any setback may be [mm]
    return Rod(
        number=number,
        along=place,
        inward=place,
        diameter=1.0,
        projection=1.0 if projecting else None,
    )
