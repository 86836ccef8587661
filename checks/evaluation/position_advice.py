"""The figures of a position whose rods are out of place, and the advice on them."""

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import numpy as np

from checks.engine import fasteners
from checks.engine.arrays import FloatArray
from checks.engine.conformity import SLACK_MM
from checks.engine.plate_fit import bounded, slots
from checks.engine.remedies.pattern import (
    HoleOpening,
    PatternCase,
    advise_pattern,
    advise_without_plate,
    explain_too_far,
)
from checks.engine.remedies.remedy import (
    Advice,
    Remedy,
    propose_remeasurement,
    rank_remedies,
    refer_to_engineer,
)
from checks.evaluation.building_evaluation import BuildingEvaluation
from checks.evaluation.reanchor_screen import concrete_age_days, screen_reanchoring
from checks.evaluation.rod_positions import fit_patterns
from jobs.anchor_plan.check_keys import CheckKind


def add_misfit_plates(evaluation: BuildingEvaluation) -> BuildingEvaluation:
    """The same, with the figures of plates that do not go on though all is within.

    That the rods are within their tolerance and that the plate goes over them are two
    questions (published-facts, caution 3): a tolerance may be wider than the hole.
    """
    groups = evaluation.pattern_fits
    stuck = groups.fitted_positions[groups.best_fit.interference_mm > SLACK_MM]
    if np.isin(stuck, groups.remedy_positions).all():
        return evaluation
    doubtful = np.zeros(len(evaluation.rods.groups), dtype=bool)
    doubtful[groups.remedy_positions] = True
    doubtful[stuck] = True
    again = fit_patterns(
        evaluation.rods, evaluation.as_built, evaluation.limits, doubtful
    )
    return replace(evaluation, pattern_fits=again)


def advise_position(
    evaluation: BuildingEvaluation, order: int, again: Remedy | None
) -> Advice:
    """What to do about one position, by its place in the plan.

    A plate is only judged over rods that are all determined; until then the missing
    ones are measured.
    """
    rods = evaluation.rods.groups[order].rows
    missing = np.flatnonzero(~evaluation.as_built.determined[rods]) + 1
    if missing.size:
        return _advise_incomplete(evaluation, order, missing.tolist(), again)
    if again is None and _is_before_pour(evaluation, order):
        again = _move_before_pour(evaluation, order)
    place = np.flatnonzero(evaluation.pattern_fits.remedy_positions == order)
    if not place.size:
        worst = float(evaluation.as_built.miss[rods].max())
        beyond = float(evaluation.limits.re_anchor_beyond())
        far = explain_too_far(worst, beyond, evaluation.style)
        if _is_before_pour(evaluation, order):
            far = None
        figures = screen_reanchoring(evaluation, order) if far else {}
        return advise_without_plate(again, far, figures)
    mark = evaluation.rods.groups[order].position.mark
    moves = [
        s.as_remedy(evaluation.style) for s in evaluation.steel_shifts if s.cures(mark)
    ]
    return advise_pattern(_pattern_case(evaluation, order, int(place[0])), again, moves)


def _is_before_pour(evaluation: BuildingEvaluation, order: int) -> bool:
    """Whether the concrete was yet to be placed when the position was last read."""
    age = concrete_age_days(evaluation, order)
    return age is not None and age < 0.0


def _move_before_pour(evaluation: BuildingEvaluation, order: int) -> Remedy:
    """Before the pour nothing is opened or cut: what is out is moved (domain rule)."""
    mark = evaluation.rods.groups[order].position.mark
    read = [
        evaluation.table.checks[row].key
        for row in evaluation.table.rows(
            CheckKind.LINE, CheckKind.SETBACK, CheckKind.OFFSET, CheckKind.GAGE
        )
        if evaluation.table.position[row] == order
        and evaluation.observations.count[row]
    ]
    return propose_remeasurement(
        f"The concrete at {mark} was yet to be placed when its rods were read: move"
        " them to the plan before the pour, and measure again.",
        read,
    )


def _advise_incomplete(
    evaluation: BuildingEvaluation, order: int, missing: list[int], again: Remedy | None
) -> Advice:
    """Some rods are not determined: measure them before anything is decided."""
    mark = evaluation.rods.groups[order].position.mark
    keys = [
        f"{kind}:{mark}.{rod}"
        for rod in missing
        for kind in ("setback", "offset")
        if not evaluation.observations.count[
            evaluation.table.index[f"{kind}:{mark}.{rod}"]
        ]
    ]
    names = ", ".join(str(rod) for rod in missing)
    first = again or propose_remeasurement(
        f"Rod {names} of {mark} is not determined yet; measure it before the plate is"
        " evaluation.",
        keys,
    )
    return Advice(
        remedies=rank_remedies(
            [first, refer_to_engineer("The rods measured so far are as they are.")]
        )
    )


def _pattern_case(
    evaluation: BuildingEvaluation, order: int, place: int
) -> PatternCase:
    """The figures of one position whose every rod and hole is known."""
    group = evaluation.rods.groups[order]
    held = evaluation.pattern_fits.bounded_fit
    limits = evaluation.limits
    line, beyond = float(limits.line()), float(limits.re_anchor_beyond())
    worst, overrun = (
        float(evaluation.as_built.miss[group.rows].max()),
        held.interference_mm[place],
    )
    as_drawn = float(evaluation.pattern_fits.overrun_as_drawn[place])
    shift, turn = held.shift_mm[place], float(held.rotation_rad[place])
    slotted = np.flatnonzero(evaluation.pattern_fits.slot_positions == order)
    slot = (
        evaluation.pattern_fits.slots.plate_slots(int(slotted[0]))
        if slotted.size
        else None
    )
    turned = 0.0
    carried = bounded.rotation_chord_mm(evaluation.rods.planned[group.rows], turn)
    if overrun <= SLACK_MM < as_drawn and carried > line + SLACK_MM:
        square = _fit_nearly_square(evaluation, group.rows, line)
        overrun, shift = square.interference_mm, square.shift_mm
        if overrun > SLACK_MM:
            turned = turn
            slot = _slots_at_placement(square, _hole_clearance(evaluation, group.rows))
        turn = square.rotation_rad
    ream = _ream_opening(evaluation, group.rows, float(overrun))
    return PatternCase(
        style=evaluation.style,
        worst_position_error=worst,
        line_limit=line,
        reanchor_beyond=beyond,
        interference_as_drawn=as_drawn,
        interference=float(overrun),
        shift=(float(shift[0]), float(shift[1])),
        rotation=turn,
        needed_rotation=turned,
        needed_rotation_chord=carried if turned else 0.0,
        before_pour=_is_before_pour(evaluation, order),
        ream=ream,
        slot=None if slot is None else _slot_opening(evaluation, group.rows, slot),
        reanchor=screen_reanchoring(evaluation, order),
    )


def _hole_clearance(evaluation: BuildingEvaluation, rods: slice) -> FloatArray:
    """Half of hole less rod, of one position's rods. [mm]"""
    clearance: FloatArray = (
        evaluation.rods.hole_diameter[rods] - evaluation.rods.diameter[rods]
    )
    return clearance / 2.0


def _fit_nearly_square(
    evaluation: BuildingEvaluation, rods: slice, line: float
) -> bounded.BoundedPlacement:
    """The plate where neither shift nor turn carries a hole beyond the line tolerance.

    A column stands square to its frame: what goes on only turned is no shift.
    """
    return bounded.fit_plate_within(
        evaluation.rods.planned[rods],
        evaluation.as_built.points[rods],
        _hole_clearance(evaluation, rods),
        line,
    )


def _slots_at_placement(
    where: bounded.BoundedPlacement, clearance: FloatArray
) -> slots.PlateSlots:
    """The slots of every hole that offends where a plate is put."""
    over = np.hypot(where.gap_mm[:, 0], where.gap_mm[:, 1]) - clearance
    extension = np.where(over > SLACK_MM, over, 0.0)
    return slots.PlateSlots(
        opened=extension > 0.0,
        extension_mm=extension,
        direction_rad=np.arctan2(where.gap_mm[:, 1], where.gap_mm[:, 0]),
        longest_mm=float(extension.max()),
        shift_mm=where.shift_mm,
        rotation_rad=where.rotation_rad,
        proven=False,
    )


def _ream_opening(
    evaluation: BuildingEvaluation, rods: slice, overrun: float
) -> HoleOpening:
    """Every hole opened to the one diameter that lets the plate on."""
    hole = float(evaluation.rods.hole_diameter[rods][0])
    edge = float(evaluation.rods.edge_distance[rods][0])
    diameter = evaluation.rods.diameter[rods]
    needed = hole + 2.0 * max(overrun, 0.0)
    return HoleOpening(
        hole_diameter=needed,
        edge_left=slots.edge_after_reaming_mm(hole, needed, edge),
        edge_needed=max(
            fasteners.min_edge_distance_mm(size) for size in diameter.tolist()
        ),
        washer=_covering_washer(
            [fasteners.select_plate_washer(needed, size) for size in diameter.tolist()]
        ),
    )


def _slot_opening(
    evaluation: BuildingEvaluation, rods: slice, found: slots.PlateSlots
) -> HoleOpening:
    """Only the offending holes opened."""
    planned = evaluation.rods.planned[rods]
    diameter = evaluation.rods.diameter[rods]
    hole = evaluation.rods.hole_diameter[rods]
    opened = np.flatnonzero(found.opened)
    extension = found.extension_mm[: len(planned)]
    left = slots.edge_after_slotting_mm(
        planned,
        extension,
        found.direction_rad[: len(planned)],
        float(evaluation.rods.edge_distance[rods][0]),
    )
    needed = np.array(
        [fasteners.min_edge_distance_mm(size) for size in diameter.tolist()]
    )
    tightest = int(np.argmin(left - needed))
    return HoleOpening(
        edge_left=float(left[tightest]),
        edge_needed=float(needed[tightest]),
        washer=_covering_washer(
            [
                slots.select_slot_washer(
                    float(hole[i]), float(extension[i]), float(diameter[i])
                )
                for i in opened
            ]
        ),
        shift=(float(found.shift_mm[0]), float(found.shift_mm[1])),
        rotation=found.rotation_rad,
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


def _covering_washer(washers: Sequence[fasteners.PlateWasher]) -> dict[str, Any] | None:
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
