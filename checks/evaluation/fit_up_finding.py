"""The finding that the steel does not go together as measured."""

from collections.abc import Iterator, Sequence

import numpy as np

from checks.engine import fasteners
from checks.engine.arrays import FloatArray, IntArray
from checks.engine.conformity import SLACK_MM
from checks.engine.plate_fit import slots
from checks.engine.remedies import fit_up as fit_up_remedies
from checks.engine.shop_sizes import round_up_to_shop
from checks.evaluation.building_evaluation import BuildingEvaluation
from checks.evaluation.computed_findings import ComputedFinding
from checks.evaluation.finding_topics import FindingTopic, TopicKind
from checks.evaluation.fit_up import MISFIT_SLACK_MM, FitUp
from checks.evaluation.remeasure_rules import remeasure_reason
from checks.evaluation.rod_positions import POSITION_KINDS
from checks.evaluation.steel_shift_options import describe_move
from jobs.anchor_plan.check_keys import CheckKind

BAY_KINDS = (CheckKind.LINE, CheckKind.OFFSET)
FRAME_KINDS = (CheckKind.SETBACK,)

DECIDING_SHARE = 0.1
"""Least share of the misfit of a position that is named as deciding it."""


def find_fit_up_findings(evaluation: BuildingEvaluation) -> Iterator[ComputedFinding]:
    """Yield the finding on a misfit that no single plate explains.

    A plate that does not go on alone has the finding of its own position, and what it
    lacks is not counted here.
    """
    fit_up = evaluation.fit_up
    if fit_up is None or fit_up.common_misfit <= MISFIT_SLACK_MM:
        return
    deciding = _list_deciding(fit_up)
    keys = _list_deciding_keys(evaluation, fit_up, deciding)
    remeasure, cause = remeasure_reason(evaluation, keys)
    yield ComputedFinding(
        topic=FindingTopic.for_building(TopicKind.FIT_UP),
        checks=tuple(keys),
        cause=cause,
        advice=fit_up_remedies.advise_fit_up(
            _build_case(evaluation, fit_up, deciding), remeasure
        ),
    )


def list_openings(
    evaluation: BuildingEvaluation, fit_up: FitUp, opening: FloatArray
) -> tuple[fit_up_remedies.PlateOpening, ...]:
    """List the plates with an opening, the largest first, holes rounded up."""
    padded, _ = evaluation.rods.padded_rows
    rows = padded[fit_up.positions]
    opened = np.flatnonzero(opening > 0.0)
    opened = opened[np.argsort(-opening[opened], kind="stable")]
    holes = evaluation.rods.hole_diameter[rows[:, 0]] + 2.0 * opening
    shop = round_up_to_shop(holes, evaluation.style)
    return tuple(
        fit_up_remedies.PlateOpening(
            mark=_mark(evaluation, int(fit_up.positions[i])),
            hole=float(shop[i]),
            exact=float(holes[i]),
            edge_allows=_edge_allows(evaluation, rows[i], float(shop[i])),
        )
        for i in opened
    )


def _edge_allows(
    evaluation: BuildingEvaluation, rows: IntArray, hole: float
) -> bool | None:
    """Return whether enough edge is left with a larger hole; None if not known."""
    rods = evaluation.rods
    edge = float(rods.edge_distance[rows[0]])
    if np.isnan(edge):
        return None
    left = slots.edge_after_reaming_mm(float(rods.hole_diameter[rows[0]]), hole, edge)
    needed = max(fasteners.min_edge_distance_mm(d) for d in rods.diameter[rows])
    return bool(left >= needed - SLACK_MM)


def _mark(evaluation: BuildingEvaluation, position: int) -> str:
    return evaluation.plan.positions[position].mark


def _list_deciding(fit_up: FitUp) -> tuple[int, ...]:
    """List the positions that decide the misfit: the worst pair, else by share."""
    if fit_up.worst is not None:
        return (fit_up.worst.first, fit_up.worst.second)
    share = np.where(fit_up.own_misfit > 0.0, 0.0, fit_up.best.share)
    order = np.argsort(-share, kind="stable")
    listed = [i for i in order if share[i] >= DECIDING_SHARE] or [order[0]]
    return tuple(int(fit_up.positions[i]) for i in listed)


def _list_deciding_keys(
    evaluation: BuildingEvaluation, fit_up: FitUp, deciding: Sequence[int]
) -> list[str]:
    """List the measured checks that place these positions, the most telling first.

    Along a bay these are lines and offsets, across a frame setbacks; at a position off
    the walls, and where no single bay or frame explains the misfit, all of them.
    """
    kinds: Sequence[CheckKind] = POSITION_KINDS
    if fit_up.worst is not None:
        kinds = BAY_KINDS if fit_up.worst.is_bay else FRAME_KINDS
    if any(evaluation.plan.positions[i].wall is None for i in deciding):
        kinds = POSITION_KINDS
    table, keys = evaluation.table, []
    for kind in kinds:
        rows = table.rows(kind)
        wanted = np.isin(table.position[rows], deciding)
        wanted &= evaluation.observations.count[rows] > 0
        keys += [table.checks[row].key for row in rows[wanted]]
    return keys


def _build_case(
    evaluation: BuildingEvaluation, fit_up: FitUp, deciding: Sequence[int]
) -> fit_up_remedies.FitUpCase:
    marks = tuple(_mark(evaluation, i) for i in deciding)
    alone = fit_up.positions[fit_up.own_misfit > 0.0]
    kind = "" if fit_up.worst is None else "bay" if fit_up.worst.is_bay else "frame"
    return fit_up_remedies.FitUpCase(
        style=evaluation.style,
        element=f"{kind} {marks[0]} to {marks[1]}" if kind else "",
        deciding=marks,
        misfit=fit_up.common_misfit,
        plates_alone=tuple(_mark(evaluation, int(i)) for i in alone),
        openings=list_openings(evaluation, fit_up, fit_up.opening),
        move=_build_move(evaluation, fit_up),
    )


def _build_move(
    evaluation: BuildingEvaluation, fit_up: FitUp
) -> fit_up_remedies.SteelMove | None:
    """Return the move of the steel, where it leaves less to open."""
    after = fit_up.opening_after_shift
    if after is None or after.sum() >= fit_up.opening.sum() - MISFIT_SLACK_MM:
        return None
    x, y, turn = (float(value) for value in fit_up.placed.grid)
    return fit_up_remedies.SteelMove(
        x=x,
        y=y,
        turn=turn,
        text=describe_move(fit_up.placed.grid[:2], evaluation.style),
        openings=list_openings(evaluation, fit_up, after),
    )
