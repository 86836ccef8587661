"""The advice on one position whose rods are out of place, with its quantities."""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from checks.engine import fasteners
from checks.engine.arrays import FloatArray
from checks.engine.plate_fit import slot_search, slots
from checks.engine.plate_fit.slots import PlateSlots
from checks.engine.remedies.pattern import (
    HoleOpening,
    PatternCase,
    advise_pattern,
)
from checks.engine.remedies.remedy import (
    Advice,
    Remedy,
    propose_remeasurement,
    rank_remedies,
    refer_to_engineer,
)
from checks.engine.remedies.replacement import advise_without_plate, explain_too_far
from checks.engine.shop_sizes import get_shop_increment, round_up_to_shop
from checks.evaluation.building_evaluation import BuildingEvaluation
from checks.evaluation.new_plates import lay_out_new_plate
from checks.evaluation.reanchor_screen import concrete_age_days, screen_reanchoring
from checks.evaluation.rod_positions import (
    POSITION_KINDS,
    PatternFits,
    add_remedy_positions,
)
from checks.evaluation.rod_threads import compute_thread_with_plate_washer
from jobs.anchor_plan.check_keys import CheckKey, CheckKind
from jobs.exchange.result.findings import SlotResult, WasherResult

SLOT_AXES = {slot_search.ALONG: "along", slot_search.IN: "in"}
"""Axes of a slot, as the result document writes them."""


def add_misfit_plates(evaluation: BuildingEvaluation) -> BuildingEvaluation:
    """Return a copy in which plates that do not go on need a remedy, too.

    Rods within tolerance and a plate that fits over them are two questions
    (published-facts, caution 3): a tolerance may be wider than the hole, and a plate
    may go on only where it turns or moves its column further than a column may be.
    """
    fits = evaluation.pattern_fits
    needs_remedy = np.zeros(len(evaluation.rods.groups), dtype=bool)
    needs_remedy[fits.remedy_positions] = True
    needs_remedy[fits.misfit_positions] = True
    more = add_remedy_positions(
        fits,
        evaluation.rods,
        evaluation.as_built,
        evaluation.limits,
        needs_remedy=needs_remedy,
        increment_mm=get_shop_increment(evaluation.style),
    )
    return replace(evaluation, pattern_fits=more)


def advise_position(
    evaluation: BuildingEvaluation, index: int, remeasure: Remedy | None
) -> Advice:
    """Advise on one position.

    A plate is fitted only over rods that are all determined; until then the missing
    rods are to be measured.

    Parameters
    ----------
    evaluation : the building.
    index : of the position in the plan.
    remeasure : the remedy to measure again, where there is a reason to.
    """
    group = evaluation.rods.groups[index]
    missing = np.flatnonzero(~evaluation.as_built.determined[group.rows]) + 1
    if missing.size:
        return _advise_incomplete(evaluation, index, missing.tolist(), remeasure)
    # Wet concrete changes everything: forms and rods can simply be moved.
    before_pour = _is_before_pour(evaluation, index)
    if remeasure is None and before_pour:
        remeasure = _move_before_pour(evaluation, index)
    row = np.flatnonzero(evaluation.pattern_fits.remedy_positions == index)
    if not row.size:
        worst = float(evaluation.as_built.miss[group.rows].max())
        beyond = float(evaluation.limits.re_anchor_beyond())
        too_far = (
            None if before_pour else explain_too_far(worst, beyond, evaluation.style)
        )
        return advise_without_plate(
            remeasure,
            too_far,
            screen_reanchoring(evaluation, index) if too_far else {},
            evaluation.style,
        )
    moves = [
        shift.as_remedy(evaluation.style)
        for shift in evaluation.steel_shifts
        if shift.cures(group.position.mark)
    ]
    case = _pattern_case(evaluation, index, int(row[0]))
    return advise_pattern(case, remeasure, moves)


def _is_before_pour(evaluation: BuildingEvaluation, index: int) -> bool:
    """Return True where the position was last read before the concrete was placed."""
    age = concrete_age_days(evaluation, index)
    return age is not None and age < 0.0


def _move_before_pour(evaluation: BuildingEvaluation, index: int) -> Remedy:
    """Propose to move the rods: before the pour nothing needs to be opened or cut."""
    table = evaluation.table
    mark = evaluation.rods.groups[index].position.mark
    measured = [
        table.checks[row].key
        for row in table.rows(*POSITION_KINDS)
        if table.position[row] == index and evaluation.observations.count[row]
    ]
    return propose_remeasurement(
        f"The rods at {mark} were measured before the pour. Move them to the plan, then"
        " measure again.",
        measured,
    )


def _advise_incomplete(
    evaluation: BuildingEvaluation,
    index: int,
    missing: Sequence[int],
    remeasure: Remedy | None,
) -> Advice:
    """Ask to measure the rods that are not determined before anything is decided."""
    mark = evaluation.rods.groups[index].position.mark
    table, count = evaluation.table, evaluation.observations.count
    keys = [
        CheckKey.for_rod(kind, mark, rod)
        for rod in missing
        for kind in (CheckKind.SETBACK, CheckKind.OFFSET)
    ]
    unmeasured = [key for key in keys if not count[table.index[key]]]
    rods = "Rod" if len(missing) == 1 else "Rods"
    numbers = ", ".join(str(rod) for rod in missing)
    first = remeasure or propose_remeasurement(
        f"{rods} {numbers} of {mark} cannot be placed yet. Measure setback and offset"
        " before the plate is checked.",
        unmeasured,
    )
    accept = refer_to_engineer("Keep the rods measured so far as they are.")
    return Advice(remedies=rank_remedies([first, accept]))


def _pattern_case(
    evaluation: BuildingEvaluation, index: int, remedy_row: int
) -> PatternCase:
    """Collect the quantities of one position whose every rod and hole is known.

    Parameters
    ----------
    evaluation : the building.
    index : of the position in the plan.
    remedy_row : of the position in `PatternFits.remedy_positions`.
    """
    rods, fits = evaluation.rods.groups[index].rows, evaluation.pattern_fits
    fitted = int(np.searchsorted(fits.fitted_positions, index))
    bounded, free = fits.bounded_fit, fits.best_fit
    interference = float(bounded.interference_mm[fitted])
    worst = float(evaluation.as_built.miss[rods].max())
    beyond = float(evaluation.limits.re_anchor_beyond())
    slot = _find_slots(fits, index, rods.stop - rods.start)
    return PatternCase(
        style=evaluation.style,
        worst_position_error=worst,
        line_limit=float(evaluation.limits.line()),
        turn_limit=float(evaluation.limits.column_turn()),
        reanchor_beyond=beyond,
        interference_as_drawn=float(fits.overrun_as_drawn[remedy_row]),
        interference=interference,
        shift=_to_pair(bounded.shift_mm[fitted]),
        rotation=float(bounded.rotation_rad[fitted]),
        free_interference=float(free.interference_mm[fitted]),
        free_shift=_to_pair(free.shift_mm[fitted]),
        free_rotation=float(free.rotation_rad[fitted]),
        before_pour=_is_before_pour(evaluation, index),
        ream=_add_thread(
            evaluation, index, _ream_opening(evaluation, rods, interference)
        ),
        slot=None
        if slot is None
        else _add_thread(evaluation, index, _slot_opening(evaluation, rods, slot)),
        reanchor=screen_reanchoring(evaluation, index),
        new_plate=lay_out_new_plate(evaluation, index),
        steel=evaluation.plan.steel,
    )


def _to_pair(shift_mm: FloatArray) -> tuple[float, float]:
    """Return a shift along and in as plain numbers. [mm]"""
    along, inward = shift_mm.tolist()
    return along, inward


def _find_slots(fits: PatternFits, index: int, rods: int) -> PlateSlots | None:
    """Return the slots of a position's plate; None where slotting makes no sense."""
    if fits.slots is None or fits.slot_positions is None:
        return None
    row = np.flatnonzero(fits.slot_positions == index)
    # The batch pads plates with fewer rods than the largest: only the first are real.
    return fits.slots.plate_slots(int(row[0]), rods) if row.size else None


def _ream_opening(
    evaluation: BuildingEvaluation, rods: slice, interference: float
) -> HoleOpening:
    """Return every hole opened to the one diameter that makes the plate fit.

    Edge and washer are those of the diameter that is ordered.
    """
    # A detail has one hole diameter and one edge distance for all its rods.
    hole = float(evaluation.rods.hole_diameter[rods][0])
    edge = float(evaluation.rods.edge_distance[rods][0])
    diameters = evaluation.rods.diameter[rods].tolist()
    needed = hole + 2.0 * max(interference, 0.0)
    ordered = float(round_up_to_shop(needed, evaluation.style))
    return HoleOpening(
        hole_diameter=needed,
        ordered_diameter=ordered,
        edge_left=slots.edge_after_reaming_mm(hole, ordered, edge),
        edge_needed=max(fasteners.min_edge_distance_mm(size) for size in diameters),
        washer=_covering_washer(
            [fasteners.select_plate_washer(ordered, size) for size in diameters]
        ),
    )


def _slot_opening(
    evaluation: BuildingEvaluation, rods: slice, plate_slots: PlateSlots
) -> HoleOpening:
    """Return only the offending holes opened to slots, as a shop makes them."""
    diameter = evaluation.rods.diameter[rods]
    hole = evaluation.rods.hole_diameter[rods]
    ordered = slots.order_slots(hole, plate_slots.extension_mm, evaluation.style)
    left = slots.edge_after_slotting_mm(
        evaluation.rods.planned[rods],
        ordered.ahead,
        plate_slots.direction_rad,
        float(evaluation.rods.edge_distance[rods][0]),
        ordered.behind,
    )
    needed = np.array(
        [fasteners.min_edge_distance_mm(size) for size in diameter.tolist()]
    )
    tightest = int(np.argmin(left - needed))
    opened = np.flatnonzero(plate_slots.is_opened).tolist()
    return HoleOpening(
        edge_left=float(left[tightest]),
        edge_needed=float(needed[tightest]),
        washer=_covering_washer(
            [
                slots.select_slot_washer(float(ordered.length[i]), float(diameter[i]))
                for i in opened
            ]
        ),
        shift=_to_pair(plate_slots.shift_mm),
        rotation=plate_slots.rotation_rad,
        slots=tuple(
            _slot_result(i, plate_slots, ordered, float(hole[i])) for i in opened
        ),
    )


def _add_thread(
    evaluation: BuildingEvaluation, index: int, opening: HoleOpening
) -> HoleOpening:
    """Return the opening with the thread that its own plate washer leaves."""
    if opening.washer is None:
        return opening
    pads = evaluation.pads
    pad = np.flatnonzero(evaluation.table.position[pads.rows] == index)
    shim = float(np.nan_to_num(pads.shim[pad]).max(initial=0.0))
    left = compute_thread_with_plate_washer(
        evaluation.rod_threads,
        evaluation.rods.groups[index].rows,
        float(opening.washer["thickness"]),
        shim,
    )
    return replace(opening, thread_left=left)


def _slot_result(
    hole: int, found: PlateSlots, ordered: slots.OrderedSlots, width: float
) -> SlotResult:
    """Return one slot: the exact need, and what is ordered."""
    exact = float(found.extension_mm[hole])
    ahead, behind = float(ordered.ahead[hole]), float(ordered.behind[hole])
    return {
        "rod": hole + 1,
        "axis": SLOT_AXES[int(found.axis[hole])],
        "extension": exact,
        "direction": float(found.direction_rad[hole]),
        "exact_length": width + exact,
        "length": float(ordered.length[hole]),
        "width": width,
        "ahead": ahead,
        "behind": behind,
    }


def _covering_washer(washers: Sequence[fasteners.PlateWasher]) -> WasherResult | None:
    """Return one plate washer that covers every opening; the engineer confirms it."""
    if not washers:
        return None
    return {
        "size": max(washer.size_mm for washer in washers),
        "thickness": max(washer.thickness_mm for washer in washers),
        "source": "AISC Design Guide 1, 2nd ed., Table 2.3 (secondary source)"
        if all(washer.from_table for washer in washers)
        else "by the rule of AISC Design Guide 1, larger than its table",
    }
