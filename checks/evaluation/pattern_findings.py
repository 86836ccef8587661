"""The figures of a position whose rods are out of place, and the advice on them."""

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import numpy as np

from checks.engine import fasteners, rigid, slots
from checks.engine.acceptance import SLACK_MM
from checks.engine.arrays import FloatArray
from checks.engine.pattern_remedies import (
    Opening,
    PatternCase,
    advise_pattern,
    advise_without_plate,
    too_far,
)
from checks.engine.remedies import (
    Advice,
    Remedy,
    measure_again,
    ranked,
    refer,
)
from checks.evaluation.judged import Judged
from checks.evaluation.positions import fit_groups
from checks.evaluation.re_anchor import age_days, re_anchor_figures
from jobs.plan.sheet import Kind


def with_stuck_plates(judged: Judged) -> Judged:
    """The same, with the figures of plates that do not go on though all is within.

    That the rods are within their tolerance and that the plate goes over them are two
    questions (published-facts, caution 3): a tolerance may be wider than the hole.
    """
    groups = judged.groups
    stuck = groups.fitted[groups.free.overrun_mm > SLACK_MM]
    if np.isin(stuck, groups.doubtful).all():
        return judged
    doubtful = np.zeros(len(judged.rods.groups), dtype=bool)
    doubtful[groups.doubtful] = True
    doubtful[stuck] = True
    again = fit_groups(judged.rods, judged.solved, judged.limits, doubtful)
    return replace(judged, groups=again)


def advise_position(judged: Judged, order: int, again: Remedy | None) -> Advice:
    """What to do about one position, by its place in the plan.

    A plate is only judged over rods that are all determined; until then the missing
    ones are measured.
    """
    rods = judged.rods.groups[order].rows
    missing = np.flatnonzero(~judged.solved.determined[rods]) + 1
    if missing.size:
        return _incomplete(judged, order, missing.tolist(), again)
    if again is None and _before_pour(judged, order):
        again = _move_first(judged, order)
    place = np.flatnonzero(judged.groups.doubtful == order)
    if not place.size:
        worst = float(judged.solved.miss[rods].max())
        beyond = float(judged.limits.re_anchor_beyond())
        far = too_far(worst, beyond, judged.style)
        if _before_pour(judged, order):
            far = None
        figures = re_anchor_figures(judged, order) if far else {}
        return advise_without_plate(again, far, figures)
    mark = judged.rods.groups[order].position.mark
    moves = [s.as_remedy(judged.style) for s in judged.shifts if s.cures(mark)]
    return advise_pattern(_case(judged, order, int(place[0])), again, moves)


def _before_pour(judged: Judged, order: int) -> bool:
    """Whether the concrete was yet to be placed when the position was last read."""
    age = age_days(judged, order)
    return age is not None and age < 0.0


def _move_first(judged: Judged, order: int) -> Remedy:
    """Before the pour nothing is opened or cut: what is out is moved (domain rule)."""
    mark = judged.rods.groups[order].position.mark
    read = [
        judged.table.checks[row].key
        for row in judged.table.rows(Kind.LINE, Kind.SETBACK, Kind.OFFSET, Kind.GAGE)
        if judged.table.position[row] == order and judged.observed.count[row]
    ]
    return measure_again(
        f"The concrete at {mark} was yet to be placed when its rods were read: move"
        " them to the plan before the pour, and measure again.",
        read,
    )


def _incomplete(
    judged: Judged, order: int, missing: list[int], again: Remedy | None
) -> Advice:
    """Some rods are not determined: measure them before anything is decided."""
    mark = judged.rods.groups[order].position.mark
    keys = [
        f"{kind}:{mark}.{rod}"
        for rod in missing
        for kind in ("setback", "offset")
        if not judged.observed.count[judged.table.index[f"{kind}:{mark}.{rod}"]]
    ]
    names = ", ".join(str(rod) for rod in missing)
    first = again or measure_again(
        f"Rod {names} of {mark} is not determined yet; measure it before the plate is"
        " judged.",
        keys,
    )
    return Advice(
        remedies=ranked([first, refer("The rods measured so far are as they are.")])
    )


def _case(judged: Judged, order: int, place: int) -> PatternCase:
    """The figures of one position whose every rod and hole is known."""
    group = judged.rods.groups[order]
    held = judged.groups.held
    limits = judged.limits
    line, beyond = float(limits.line()), float(limits.re_anchor_beyond())
    worst, overrun = float(judged.solved.miss[group.rows].max()), held.overrun_mm[place]
    as_drawn = float(judged.groups.as_drawn[place])
    shift, turn = held.shift_mm[place], float(held.turn_rad[place])
    slotted = np.flatnonzero(judged.groups.slotted == order)
    slot = judged.groups.slots.one(int(slotted[0])) if slotted.size else None
    turned = 0.0
    carried = rigid.chord_mm(judged.rods.planned[group.rows], turn)
    if overrun <= SLACK_MM < as_drawn and carried > line + SLACK_MM:
        square = _hardly_turned(judged, group.rows, line)
        overrun, shift = square.overrun_mm, square.shift_mm
        if overrun > SLACK_MM:
            turned = turn
            slot = _slots_there(square, _clearance(judged, group.rows))
        turn = square.turn_rad
    ream = _ream(judged, group.rows, float(overrun))
    return PatternCase(
        style=judged.style,
        worst_miss=worst,
        line_limit=line,
        re_anchor_beyond=beyond,
        overrun_as_drawn=as_drawn,
        overrun=float(overrun),
        shift=(float(shift[0]), float(shift[1])),
        turn=turn,
        turned=turned,
        turned_carries=carried if turned else 0.0,
        before_pour=_before_pour(judged, order),
        ream=ream,
        slot=None if slot is None else _slots(judged, group.rows, slot),
        re_anchor=re_anchor_figures(judged, order),
    )


def _clearance(judged: Judged, rods: slice) -> FloatArray:
    """Half of hole less rod, of one position's rods. [mm]"""
    clearance: FloatArray = judged.rods.hole_diameter[rods] - judged.rods.diameter[rods]
    return clearance / 2.0


def _hardly_turned(judged: Judged, rods: slice, line: float) -> rigid.Placement:
    """The plate where neither shift nor turn carries a hole beyond the line tolerance.

    A column stands square to its frame: what goes on only turned is no shift.
    """
    return rigid.place_within(
        judged.rods.planned[rods],
        judged.solved.as_built[rods],
        _clearance(judged, rods),
        line,
    )


def _slots_there(where: rigid.Placement, clearance: FloatArray) -> slots.Slots:
    """The slots of every hole that offends where a plate is put."""
    over = np.hypot(where.gap_mm[:, 0], where.gap_mm[:, 1]) - clearance
    extension = np.where(over > SLACK_MM, over, 0.0)
    return slots.Slots(
        opened=extension > 0.0,
        extension_mm=extension,
        direction_rad=np.arctan2(where.gap_mm[:, 1], where.gap_mm[:, 0]),
        longest_mm=float(extension.max()),
        shift_mm=where.shift_mm,
        turn_rad=where.turn_rad,
        proven=False,
    )


def _ream(judged: Judged, rods: slice, overrun: float) -> Opening:
    """Every hole opened to the one diameter that lets the plate on."""
    hole = float(judged.rods.hole_diameter[rods][0])
    edge = float(judged.rods.edge_distance[rods][0])
    diameter = judged.rods.diameter[rods]
    needed = hole + 2.0 * max(overrun, 0.0)
    return Opening(
        hole_diameter=needed,
        edge_left=slots.edge_after_reaming_mm(hole, needed, edge),
        edge_needed=max(fasteners.least_edge_mm(size) for size in diameter.tolist()),
        washer=_washer(
            [fasteners.covering_washer(needed, size) for size in diameter.tolist()]
        ),
    )


def _slots(judged: Judged, rods: slice, found: slots.Slots) -> Opening:
    """Only the offending holes opened."""
    planned = judged.rods.planned[rods]
    diameter = judged.rods.diameter[rods]
    hole = judged.rods.hole_diameter[rods]
    opened = np.flatnonzero(found.opened)
    extension = found.extension_mm[: len(planned)]
    left = slots.remaining_edge_mm(
        planned,
        extension,
        found.direction_rad[: len(planned)],
        float(judged.rods.edge_distance[rods][0]),
    )
    needed = np.array([fasteners.least_edge_mm(size) for size in diameter.tolist()])
    tightest = int(np.argmin(left - needed))
    return Opening(
        edge_left=float(left[tightest]),
        edge_needed=float(needed[tightest]),
        washer=_washer(
            [
                slots.slot_washer(
                    float(hole[i]), float(extension[i]), float(diameter[i])
                )
                for i in opened
            ]
        ),
        shift=(float(found.shift_mm[0]), float(found.shift_mm[1])),
        turn=found.turn_rad,
        slots=tuple(
            {
                "rod": int(i) + 1,
                "extension": float(extension[i]),
                "direction": float(found.direction_rad[i]),
                "length": float(hole[i] + extension[i]),
                "width": float(hole[i]),
            }
            for i in opened
        ),
    )


def _washer(washers: Sequence[fasteners.PlateWasher]) -> dict[str, Any] | None:
    """One plate washer that covers every opening, for the engineer to confirm."""
    if not washers:
        return None
    return {
        "size": max(washer.size_mm for washer in washers),
        "thickness": max(washer.thickness_mm for washer in washers),
        "source": "AISC Design Guide 1, 2nd ed., Table 2.3 (secondary source)"
        if all(washer.from_table for washer in washers)
        else "by the rule of AISC Design Guide 1, larger than its table",
    }
