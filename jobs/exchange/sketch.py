"""A plan to read readings by, also where something of the plan was refused.

Every error is to be told at once, so readings are read even then: by what is known of
the plan, with stand-ins for the rest. What hangs on a stand-in is not refused.
"""

from dataclasses import dataclass, replace

from jobs.plan.model import Corner, Detail, Plan, Rod
from jobs.plan.sheet import Kind

_ALONG_WALLS = frozenset(
    {Kind.DIAGONAL, Kind.WALL, Kind.LINE, Kind.NOTCH_WIDTH, Kind.NOTCH_DEPTH}
)
_OF_THE_NOTCH = frozenset({Kind.NOTCH_WIDTH, Kind.NOTCH_DEPTH})
_AT_POSITIONS = frozenset(Kind) - {
    Kind.DIAGONAL,
    Kind.WALL,
    Kind.BENCHMARK,
    Kind.STRENGTH,
    *_OF_THE_NOTCH,
}
_NOWHERE = tuple(
    Corner(name=f"\x00{number}", x=x, y=y)  # such a name cannot be read
    for number, (x, y) in enumerate(((0.0, 0.0), (1.0, 0.0), (0.0, 1.0)))
)
_NO_DETAIL = "\x00"
_RODLESS = Detail(name=_NO_DETAIL, reference="web", rods=())


@dataclass(frozen=True, slots=True)
class Sketch:
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
    unsure: frozenset[Kind] = frozenset()
    rodless: frozenset[str] = frozenset()
    unplaced: frozenset[str] = frozenset()
    marks_known: bool = True
    instruments_known: bool = True

    def tells(self, kind: Kind | None, key: str) -> bool:
        """Whether the plan is known well enough to say that it lacks a check."""
        if kind in self.unsure:
            return False
        if kind not in _AT_POSITIONS:
            return True
        rest = key.partition(":")[2]
        if kind is Kind.LINE and rest in self.unplaced:
            return False
        mark = rest if rest in self.rodless else rest.rpartition(".")[0]
        return self.marks_known and mark not in self.rodless


def sketch_of(plan: Plan, *, notch: bool, marks: bool, instruments: bool) -> Sketch:
    """Fill what is missing of a plan with stand-ins.

    Parameters
    ----------
    plan : whatever of it could be read; its outline is empty where that makes none.
    notch, marks, instruments : whether these are known.
    """
    corners = {each.name for each in plan.outline}
    unsure = frozenset() if corners else _ALONG_WALLS
    marked = [each for each in plan.positions if each.mark]
    known = {name for name, detail in plan.details.items() if detail.rods}
    return Sketch(
        plan=Plan(
            name=plan.name,
            length_unit=plan.length_unit,
            outline=plan.outline or _NOWHERE,
            diagonals=tuple(ends for ends in plan.diagonals if set(ends) <= corners),
            details={**plan.details, _NO_DETAIL: _RODLESS},
            positions=tuple(
                each if each.detail in known else replace(each, detail=_NO_DETAIL)
                for each in marked
            ),
            notch=plan.notch,
            concrete=plan.concrete,
            instruments=plan.instruments,
        ),
        unsure=unsure if notch else unsure | _OF_THE_NOTCH,
        rodless=frozenset(each.mark for each in marked if each.detail not in known),
        unplaced=frozenset(e.mark for e in marked if e.wall is None and e.x is None),
        marks_known=marks and len(marked) == len(plan.positions),
        instruments_known=instruments,
    )


def stand_in_rod(number: int, *, projecting: bool) -> Rod:
    """Stand in for a rod that is refused, so that the others keep their numbers."""
    place = -float(number)  # of its own, and where any setback may be [mm]
    return Rod(
        number=number,
        along=place,
        inward=place,
        diameter=1.0,
        projection=1.0 if projecting else None,
    )
