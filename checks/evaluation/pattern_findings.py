"""The figures of a position whose rods are out of place, and the advice on them."""

from collections.abc import Sequence
from typing import Any

import numpy as np

from checks.engine import fasteners, slots
from checks.engine.pattern_remedies import Opening, PatternCase, advise_pattern
from checks.engine.remedies import (
    Advice,
    Remedy,
    measure_again,
    ranked,
    refer,
)
from checks.evaluation.judged import Judged
from checks.evaluation.re_anchor import re_anchor_figures


def advise_position(judged: Judged, order: int, again: Remedy | None) -> Advice:
    """What to do about one position, by its place in the plan.

    A plate is only judged over rods that are all determined; until then the missing
    ones are measured.
    """
    rods = judged.rods.groups[order].rows
    missing = np.flatnonzero(~judged.solved.determined[rods]) + 1
    if missing.size:
        return _incomplete(judged, order, missing.tolist(), again)
    place = np.flatnonzero(judged.groups.doubtful == order)
    if not place.size:
        found = [] if again is None else [again]
        found.append(refer("The detail has no base plate to judge the rods by."))
        return Advice(remedies=ranked(found))
    mark = judged.rods.groups[order].position.mark
    moves = [s.as_remedy(judged.style) for s in judged.shifts if s.cures(mark)]
    return advise_pattern(_case(judged, order, int(place[0])), again, moves)


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
    slotted = np.flatnonzero(judged.groups.slotted == order)
    return PatternCase(
        style=judged.style,
        worst_miss=worst,
        line_limit=line,
        re_anchor_beyond=beyond,
        overrun_as_drawn=float(judged.groups.as_drawn[place]),
        overrun=float(overrun),
        shift=(float(held.shift_mm[place, 0]), float(held.shift_mm[place, 1])),
        turn=float(held.turn_rad[place]),
        ream=_ream(judged, group.rows, float(overrun)),
        slot=_slots(judged, group.rows, int(slotted[0])) if slotted.size else None,
        re_anchor=re_anchor_figures(judged, order),
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


def _slots(judged: Judged, rods: slice, place: int) -> Opening:
    """Only the offending holes opened, the fewest and the shortest."""
    planned = judged.rods.planned[rods]
    diameter = judged.rods.diameter[rods]
    hole = judged.rods.hole_diameter[rods]
    found = judged.groups.slots.one(place)
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
