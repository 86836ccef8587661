"""The rows of the result document: its checks and its positions."""

from collections.abc import Mapping, Sequence
from typing import Any, cast

import numpy as np

from checks.engine.arrays import FloatArray
from checks.engine.conformity import SLACK_MM
from checks.engine.plate_fit.plate import PlateFit
from checks.evaluation.building_evaluation import BuildingEvaluation
from checks.evaluation.check_table import PositionRods
from checks.evaluation.json_values import to_json_list
from checks.evaluation.measurement_adequacy import (
    describe_coarse_checks,
    find_coarse_checks,
)
from checks.evaluation.verdict_reasons import (
    CONTRADICTORY_GAGES,
    describe_set_aside,
    verdict_reason,
)
from core.units import format_length
from core.vocabulary import Verdict
from jobs.exchange.result.document import (
    CheckResult,
    PlateFitResult,
    PositionResult,
    RodResult,
    SetAsideResult,
)


def build_check_rows(evaluation: BuildingEvaluation) -> list[CheckResult]:
    """Build the result document's `checks`, in the order of the plan."""
    observations, bounds = evaluation.observations, evaluation.bounds
    checks, second = evaluation.table.checks, evaluation.second_readings
    columns = {
        "check": [check.key for check in checks],
        "nominal": to_json_list(evaluation.nominal),
        "observed": to_json_list(evaluation.value),
        "deviation": to_json_list(evaluation.deviation),
        "limit": to_json_list(bounds.size),
        "uncertainty": to_json_list(evaluation.sigma),
        "probability": to_json_list(evaluation.probability),
        "close_to_limit": [row in second for row in range(len(checks))],
        "second_reading": [
            second[row].as_result() if row in second else None
            for row in range(len(checks))
        ],
        "readings": [len(readings) for readings in observations.readings],
        "verdict": evaluation.verdicts.tolist(),
        "kind": [check.kind.value for check in checks],
        "mark": [check.mark for check in checks],
        "rods": [list(check.rods) for check in checks],
        "lower": to_json_list(bounds.lower),
        "upper": to_json_list(bounds.upper),
        "spread": to_json_list(observations.spread),
        "correction": to_json_list(observations.correction),
        "reading_ids": [[r.id for r in readings] for readings in observations.readings],
        "set_aside": _list_set_aside(evaluation),
        "reason": _list_reasons(evaluation),
        "better_measurement": _list_better_measurements(evaluation),
        "required": [check.required for check in checks],
        "stage": [check.stage for check in checks],
    }
    rows = cast("list[CheckResult]", _rows_from_columns(columns))
    for row in evaluation.neighbour_lengths.rows.tolist():
        rows[row]["marks"] = list(checks[row].marks)
    return rows


def _list_set_aside(evaluation: BuildingEvaluation) -> list[list[SetAsideResult]]:
    """Return the readings left out of every check's mean, with the reason."""
    rows: list[list[SetAsideResult]] = [[] for _ in evaluation.verdicts]
    for row, readings in evaluation.observations.set_aside.items():
        rows[row] = [
            {
                "reading": each.reading.id,
                "reason": describe_set_aside(
                    each.off_mm,
                    int(evaluation.observations.contributing[row]),
                    evaluation.style,
                ),
            }
            for each in readings
        ]
    return rows


def _list_reasons(evaluation: BuildingEvaluation) -> list[str | None]:
    """Return the reason of every check whose verdict does not explain itself."""
    reasons: list[str | None] = [None] * len(evaluation.verdicts)
    unexplained = evaluation.verdicts != Verdict.WITHIN
    if not evaluation.limits.guarded:
        unexplained &= evaluation.verdicts != Verdict.OUTSIDE
    for row in np.flatnonzero(unexplained).tolist():
        reasons[row] = verdict_reason(evaluation, row)
    return reasons


def _list_better_measurements(evaluation: BuildingEvaluation) -> list[str | None]:
    """Return what would measure each check well enough; None where it is."""
    notes: list[str | None] = [None] * len(evaluation.verdicts)
    rows = np.flatnonzero(find_coarse_checks(evaluation)).tolist()
    for row, note in zip(rows, describe_coarse_checks(evaluation, rows), strict=True):
        notes[row] = note
    return notes


def build_position_rows(evaluation: BuildingEvaluation) -> list[PositionResult]:
    """Build the result document's `positions`, in the order of the plan."""
    fits, table = evaluation.pattern_fits, evaluation.rods
    origin = np.array([axes.origin for axes in table.position_axes]).reshape(-1, 2)
    along = np.array([axes.along for axes in table.position_axes]).reshape(-1, 2)
    plate_fits, rods = _build_plate_fits(evaluation), _build_rod_rows(evaluation)
    columns = {
        "mark": [group.position.mark for group in table.groups],
        "shift_along": to_json_list(fits.shift[:, 0]),
        "shift_in": to_json_list(fits.shift[:, 1]),
        "turn": to_json_list(fits.turn),
        "rods": [rods[group.rows] for group in table.groups],
        "plate_fit": [plate_fits.get(i) for i in range(len(table.groups))],
        "note": [_pattern_note(evaluation, group) for group in table.groups],
        "line_deviation": to_json_list(evaluation.as_built.line),
        "x": origin[:, 0].tolist(),
        "y": origin[:, 1].tolist(),
        "angle": np.arctan2(along[:, 1], along[:, 0]).tolist(),
    }
    return cast("list[PositionResult]", _rows_from_columns(columns))


def _build_rod_rows(evaluation: BuildingEvaluation) -> list[RodResult]:
    """Build the rows of every rod of the plan, position by position."""
    table, as_built = evaluation.rods, evaluation.as_built
    columns = {
        "rod": (np.arange(len(table)) - table.first[table.position] + 1).tolist(),
        "along": to_json_list(as_built.points[:, 0]),
        "in": to_json_list(as_built.points[:, 1]),
        "d_along": to_json_list(as_built.deviation[:, 0]),
        "d_in": to_json_list(as_built.deviation[:, 1]),
        "miss": to_json_list(as_built.miss),
        "limit": to_json_list(evaluation.limits.rod_location(table.diameter)),
        "verdict": list(evaluation.rod_verdicts),
        "determined": as_built.determined.tolist(),
        "planned_along": table.planned[:, 0].tolist(),
        "planned_in": table.planned[:, 1].tolist(),
        "other_along": to_json_list(as_built.other[:, 0]),
        "other_in": to_json_list(as_built.other[:, 1]),
    }
    return cast("list[RodResult]", _rows_from_columns(columns))


def _pattern_note(evaluation: BuildingEvaluation, group: PositionRods) -> str | None:
    """Return the note on a pattern as a whole, if there is one."""
    as_built = evaluation.as_built
    if as_built.contradictory[group.rows].any():
        return f"{CONTRADICTORY_GAGES}."
    apart = np.abs(as_built.other - as_built.points)[group.rows]
    notes = [
        f"The gages of rod {rod + 1} allow two places,"
        f" {format_length(float(np.hypot(*apart[rod])), evaluation.style, 32)} apart:"
        " the one nearer to the plan is taken. Read its"
        f" {'offset' if apart[rod, 0] > apart[rod, 1] else 'setback'} to be sure."
        for rod in np.flatnonzero(~np.isnan(apart[:, 0])).tolist()
    ]
    return " ".join(notes) or None


def _build_plate_fits(evaluation: BuildingEvaluation) -> dict[int, PlateFitResult]:
    """Build the `plate_fit` of each fitted position, by its index in the plan."""
    fits, table = evaluation.pattern_fits, evaluation.rods
    positions = fits.fitted_positions
    hole = table.hole_diameter[table.first[positions]]
    free, bounded = (
        _placement_columns(fit, hole) for fit in (fits.best_fit, fits.bounded_fit)
    )
    columns = {
        **free,
        "hole_diameter": hole.tolist(),
        "bounded": _rows_from_columns(bounded),
    }
    rows = cast("list[PlateFitResult]", _rows_from_columns(columns))
    return dict(zip(positions.tolist(), rows, strict=True))


def _placement_columns(fit: PlateFit, hole: FloatArray) -> dict[str, list[Any]]:
    """Return the columns of a placement that free and bounded fit have in common."""
    return {
        "overrun": fit.interference_mm.tolist(),
        "fits": (fit.interference_mm <= SLACK_MM).tolist(),
        "hole_needed": (hole + 2.0 * fit.interference_mm).tolist(),
        "shift_along": fit.shift_mm[:, 0].tolist(),
        "shift_in": fit.shift_mm[:, 1].tolist(),
        "turn": fit.rotation_rad.tolist(),
    }


def _rows_from_columns(columns: Mapping[str, Sequence[Any]]) -> list[dict[str, Any]]:
    """Turn columns of one length into rows.

    Thousands of rows are built for every building: whole columns at once are several
    times faster than one dictionary display per row.
    """
    names = tuple(columns)
    return [
        dict(zip(names, row, strict=False))
        for row in zip(*columns.values(), strict=True)
    ]
