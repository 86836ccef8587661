"""The rows of the result document: its checks and its positions."""

from typing import Any

import numpy as np

from checks.engine.conformity import SLACK_MM
from checks.evaluation.building_evaluation import BuildingEvaluation
from checks.evaluation.check_table import PositionRods
from checks.evaluation.json_values import to_json_list
from checks.evaluation.verdict_reasons import CONTRADICTORY_GAGES, verdict_reason

Row = dict[str, Any]


def build_check_rows(evaluation: BuildingEvaluation) -> list[Row]:
    """The result document's `checks`, in the order of the plan.

    Parameters
    ----------
    evaluation : the building.
    """
    observations, bounds, checks = (
        evaluation.observations,
        evaluation.bounds,
        evaluation.table.checks,
    )
    columns: dict[str, list[Any]] = {
        "check": [check.key for check in checks],
        "nominal": to_json_list(evaluation.nominal),
        "observed": to_json_list(evaluation.value),
        "deviation": to_json_list(evaluation.deviation),
        "limit": to_json_list(bounds.size),
        "uncertainty": to_json_list(evaluation.sigma),
        "probability": to_json_list(evaluation.probability),
        "close_to_limit": evaluation.close_to_limit.tolist(),
        "readings": [len(readings) for readings in observations.readings],
        "verdict": evaluation.verdicts.tolist(),
        "kind": [str(check.kind) for check in checks],
        "mark": [check.mark for check in checks],
        "rods": [list(check.rods) for check in checks],
        "lower": to_json_list(bounds.lower),
        "upper": to_json_list(bounds.upper),
        "spread": to_json_list(observations.spread),
        "correction": to_json_list(observations.correction),
        "reading_ids": [[r.id for r in readings] for readings in observations.readings],
        "reason": _list_reasons(evaluation),
        "required": [check.required for check in checks],
        "stage": [check.stage for check in checks],
    }
    return _rows_from_columns(columns)


def _list_reasons(evaluation: BuildingEvaluation) -> list[str | None]:
    """Why, of every check whose verdict does not speak for itself."""
    reasons: list[str | None] = [None] * len(evaluation.verdicts)
    silent = evaluation.verdicts != "within"
    if not evaluation.limits.guarded:
        silent &= evaluation.verdicts != "outside"
    for row in np.flatnonzero(silent).tolist():
        reasons[row] = verdict_reason(evaluation, row)
    return reasons


def build_position_rows(evaluation: BuildingEvaluation) -> list[Row]:
    """The result document's `positions`, in the order of the plan.

    Parameters
    ----------
    evaluation : the building.
    """
    groups, as_built, table = (
        evaluation.pattern_fits,
        evaluation.as_built,
        evaluation.rods,
    )
    origin = np.array([frame.origin for frame in table.frames]).reshape(-1, 2)
    along = np.array([frame.along for frame in table.frames]).reshape(-1, 2)
    fits, rods = _build_plate_fits(evaluation), _build_rod_rows(evaluation)
    return _rows_from_columns(
        {
            "mark": [group.position.mark for group in table.groups],
            "shift_along": to_json_list(groups.shift[:, 0]),
            "shift_in": to_json_list(groups.shift[:, 1]),
            "turn": to_json_list(groups.turn),
            "rods": [rods[group.rows] for group in table.groups],
            "plate_fit": [fits.get(i) for i in range(len(table.groups))],
            "note": [_pattern_note(evaluation, group) for group in table.groups],
            "line_deviation": to_json_list(as_built.line),
            "x": origin[:, 0].tolist(),
            "y": origin[:, 1].tolist(),
            "angle": np.arctan2(along[:, 1], along[:, 0]).tolist(),
        }
    )


def _build_rod_rows(evaluation: BuildingEvaluation) -> list[Row]:
    """Every rod of the plan, one position after the other."""
    table, as_built = evaluation.rods, evaluation.as_built
    built, off = to_json_list(as_built.points.T), to_json_list(as_built.deviation.T)
    columns: dict[str, list[Any]] = {
        "rod": (np.arange(len(table)) - table.first[table.position] + 1).tolist(),
        "along": built[0],
        "in": built[1],
        "d_along": off[0],
        "d_in": off[1],
        "miss": to_json_list(as_built.miss),
        "verdict": list(evaluation.rod_verdicts),
        "determined": as_built.determined.tolist(),
        "planned_along": table.planned[:, 0].tolist(),
        "planned_in": table.planned[:, 1].tolist(),
    }
    return _rows_from_columns(columns)


def _pattern_note(evaluation: BuildingEvaluation, group: PositionRods) -> str | None:
    """What there is to say of a pattern as a whole."""
    bad = evaluation.as_built.contradictory[group.rows].any()
    return f"{CONTRADICTORY_GAGES}." if bad else None


def _build_plate_fits(evaluation: BuildingEvaluation) -> dict[int, Row]:
    """Each fitted position's `plate_fit`, by its place in the plan."""
    groups, table = evaluation.pattern_fits, evaluation.rods
    fit, at = groups.best_fit, groups.fitted_positions
    hole = table.hole_diameter[table.first[at]]
    columns = {
        "overrun": fit.interference_mm.tolist(),
        "fits": (fit.interference_mm <= SLACK_MM).tolist(),
        "hole_needed": (hole + 2.0 * fit.interference_mm).tolist(),
        "shift_along": fit.shift_mm[:, 0].tolist(),
        "shift_in": fit.shift_mm[:, 1].tolist(),
        "turn": fit.rotation_rad.tolist(),
        "hole_diameter": hole.tolist(),
    }
    return dict(zip(at.tolist(), _rows_from_columns(columns), strict=True))


def _rows_from_columns(columns: dict[str, list[Any]]) -> list[Row]:
    """Rows of columns of one length."""
    names = tuple(columns)
    return [
        dict(zip(names, row, strict=False))
        for row in zip(*columns.values(), strict=True)
    ]
