"""The figures of a position whose rods are out of place, and the advice on them."""

from collections.abc import Mapping
from typing import Any

import numpy as np

from checks.engine import fasteners, slots
from checks.engine.arrays import FloatArray
from checks.engine.pattern_remedies import Opening, PatternCase, advise_pattern
from checks.engine.remedies import (
    SLACK_MM,
    Advice,
    Remedy,
    measure_again,
    ranked,
    refer,
)
from checks.evaluation.judged import Judged
from core.units import format_length


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
    sensible = overrun > SLACK_MM and worst <= beyond + SLACK_MM
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
        slot=_slots(judged, group.rows, np.array([line, line])) if sensible else None,
        re_anchor=_re_anchor(judged, order),
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
        washer=_washer(fasteners.covering_washer(needed, float(diameter.min()))),
    )


def _slots(judged: Judged, rods: slice, limit: FloatArray) -> Opening:
    """Only the offending holes opened, the fewest and the shortest."""
    planned = judged.rods.planned[rods]
    diameter = judged.rods.diameter[rods]
    hole = judged.rods.hole_diameter[rods]
    found = slots.shortest_slots(
        planned, judged.solved.as_built[rods], (hole - diameter) / 2.0, limit
    )
    left = slots.remaining_edge_mm(
        planned,
        found.extension_mm,
        found.direction_rad,
        float(judged.rods.edge_distance[rods][0]),
    )
    needed = np.array([fasteners.least_edge_mm(size) for size in diameter.tolist()])
    tightest = int(np.argmin(left - needed))
    longest = int(np.argmax(found.extension_mm))
    return Opening(
        edge_left=float(left[tightest]),
        edge_needed=float(needed[tightest]),
        washer=_washer(
            slots.slot_washer(
                float(hole[longest]), found.longest_mm, float(diameter[longest])
            )
        ),
        shift=(float(found.shift_mm[0]), float(found.shift_mm[1])),
        turn=found.turn_rad,
        slots=tuple(
            {
                "rod": int(i) + 1,
                "extension": float(found.extension_mm[i]),
                "direction": float(found.direction_rad[i]),
                "length": float(hole[i] + found.extension_mm[i]),
                "width": float(hole[i]),
            }
            for i in np.flatnonzero(found.opened)
        ),
    )


def _washer(washer: fasteners.PlateWasher) -> dict[str, Any]:
    """A plate washer that covers the opening, for the engineer to confirm."""
    return {
        "size": washer.size_mm,
        "thickness": washer.thickness_mm,
        "source": "AISC Design Guide 1, 2nd ed., Table 2.3 (secondary source)"
        if washer.from_table
        else "by the rule of AISC Design Guide 1, larger than its table",
    }


def _re_anchor(judged: Judged, order: int) -> Mapping[str, Any]:
    """Which rods to replace, and how far each would stand from its old stub."""
    group = judged.rods.groups[order]
    miss = judged.solved.miss[group.rows]
    limit = judged.limits.rod_location(judged.rods.diameter[group.rows])
    out = np.flatnonzero(miss > limit)
    return {
        "rods": [
            {
                "rod": int(i) + 1,
                "miss": float(miss[i]),
                "miss_text": format_length(float(miss[i]), judged.style),
            }
            for i in out
        ]
    }
