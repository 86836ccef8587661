"""The rows of the result document: its checks and its positions."""

from typing import Any

import numpy as np

from checks.engine.conformity import SLACK_MM
from checks.evaluation.building_evaluation import BuildingEvaluation
from checks.evaluation.check_table import PositionRods
from checks.evaluation.json_values import to_json_list
from checks.evaluation.verdict_reasons import CONTRADICTORY_GAGES, verdict_reason

Row = dict[str, Any]


def build_check_rows(judged: BuildingEvaluation) -> list[Row]:
    """The result document's `checks`, in the order of the plan.

    Parameters
    ----------
    judged : the building.
    """
    observed, bounds, checks = judged.observations, judged.bounds, judged.table.checks
    columns: dict[str, list[Any]] = {
        "check": [check.key for check in checks],
        "nominal": to_json_list(judged.nominal),
        "observed": to_json_list(judged.value),
        "deviation": to_json_list(judged.deviation),
        "limit": to_json_list(bounds.size),
        "uncertainty": to_json_list(judged.sigma),
        "probability": to_json_list(judged.probability),
        "close_to_limit": judged.close_to_limit.tolist(),
        "readings": [len(readings) for readings in observed.readings],
        "verdict": judged.verdicts.tolist(),
        "kind": [str(check.kind) for check in checks],
        "mark": [check.mark for check in checks],
        "rods": [list(check.rods) for check in checks],
        "lower": to_json_list(bounds.lower),
        "upper": to_json_list(bounds.upper),
        "spread": to_json_list(observed.spread),
        "correction": to_json_list(observed.correction),
        "reading_ids": [[r.id for r in readings] for readings in observed.readings],
        "reason": _list_reasons(judged),
        "required": [check.required for check in checks],
        "stage": [check.stage for check in checks],
    }
    return _rows_from_columns(columns)


def _list_reasons(judged: BuildingEvaluation) -> list[str | None]:
    """Why, of every check whose verdict does not speak for itself."""
    reasons: list[str | None] = [None] * len(judged.verdicts)
    silent = judged.verdicts != "within"
    if not judged.limits.guarded:
        silent &= judged.verdicts != "outside"
    for row in np.flatnonzero(silent).tolist():
        reasons[row] = verdict_reason(judged, row)
    return reasons


def build_position_rows(judged: BuildingEvaluation) -> list[Row]:
    """The result document's `positions`, in the order of the plan.

    Parameters
    ----------
    judged : the building.
    """
    groups, solved, table = judged.pattern_fits, judged.as_built, judged.rods
    origin = np.array([frame.origin for frame in table.frames]).reshape(-1, 2)
    along = np.array([frame.along for frame in table.frames]).reshape(-1, 2)
    fits, rods = _build_plate_fits(judged), _build_rod_rows(judged)
    return _rows_from_columns(
        {
            "mark": [group.position.mark for group in table.groups],
            "shift_along": to_json_list(groups.shift[:, 0]),
            "shift_in": to_json_list(groups.shift[:, 1]),
            "turn": to_json_list(groups.turn),
            "rods": [rods[group.rows] for group in table.groups],
            "plate_fit": [fits.get(i) for i in range(len(table.groups))],
            "note": [_pattern_note(judged, group) for group in table.groups],
            "line_deviation": to_json_list(solved.line),
            "x": origin[:, 0].tolist(),
            "y": origin[:, 1].tolist(),
            "angle": np.arctan2(along[:, 1], along[:, 0]).tolist(),
        }
    )


def _build_rod_rows(judged: BuildingEvaluation) -> list[Row]:
    """Every rod of the plan, one position after the other."""
    table, solved = judged.rods, judged.as_built
    built, off = to_json_list(solved.as_built.T), to_json_list(solved.deviation.T)
    columns: dict[str, list[Any]] = {
        "rod": (np.arange(len(table)) - table.first[table.position] + 1).tolist(),
        "along": built[0],
        "in": built[1],
        "d_along": off[0],
        "d_in": off[1],
        "miss": to_json_list(solved.miss),
        "verdict": list(judged.rod_verdicts),
        "determined": solved.determined.tolist(),
        "planned_along": table.planned[:, 0].tolist(),
        "planned_in": table.planned[:, 1].tolist(),
    }
    return _rows_from_columns(columns)


def _pattern_note(judged: BuildingEvaluation, group: PositionRods) -> str | None:
    """What there is to say of a pattern as a whole."""
    bad = judged.as_built.contradictory[group.rows].any()
    return f"{CONTRADICTORY_GAGES}." if bad else None


def _build_plate_fits(judged: BuildingEvaluation) -> dict[int, Row]:
    """Each fitted position's `plate_fit`, by its place in the plan."""
    groups, table = judged.pattern_fits, judged.rods
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
