"""The rows of the result document: its checks and its positions."""

from typing import Any

import numpy as np

from checks.engine.acceptance import SLACK_MM
from checks.evaluation.json_values import plain
from checks.evaluation.judged import Judged
from checks.evaluation.reasons import NO_PATTERN, reason_of
from checks.evaluation.table import PositionRods

Row = dict[str, Any]


def check_rows(judged: Judged) -> list[Row]:
    """The result document's `checks`, in the order of the plan.

    Parameters
    ----------
    judged : the building.
    """
    observed, bounds, checks = judged.observed, judged.bounds, judged.table.checks
    columns: dict[str, list[Any]] = {
        "check": [check.key for check in checks],
        "nominal": plain(judged.nominal),
        "observed": plain(judged.value),
        "deviation": plain(judged.deviation),
        "limit": plain(bounds.size),
        "uncertainty": plain(judged.sigma),
        "probability": plain(judged.probability),
        "close_to_limit": judged.close.tolist(),
        "readings": [len(readings) for readings in observed.readings],
        "verdict": judged.words.tolist(),
        "kind": [str(check.kind) for check in checks],
        "mark": [check.mark for check in checks],
        "rods": [list(check.rods) for check in checks],
        "lower": plain(bounds.lower),
        "upper": plain(bounds.upper),
        "spread": plain(observed.spread),
        "correction": plain(observed.correction),
        "reading_ids": [[r.id for r in readings] for readings in observed.readings],
        "reason": _reasons(judged),
        "required": [check.required for check in checks],
        "stage": [check.stage for check in checks],
    }
    return _rows(columns)


def _reasons(judged: Judged) -> list[str | None]:
    """Why, of every check whose verdict does not speak for itself."""
    reasons: list[str | None] = [None] * len(judged.words)
    silent = judged.words != "within"
    if not judged.limits.guarded:
        silent &= judged.words != "outside"
    for row in np.flatnonzero(silent).tolist():
        reasons[row] = reason_of(judged, row)
    return reasons


def position_rows(judged: Judged) -> list[Row]:
    """The result document's `positions`, in the order of the plan.

    Parameters
    ----------
    judged : the building.
    """
    groups, solved, table = judged.groups, judged.solved, judged.rods
    origin = np.array([frame.origin for frame in table.frames]).reshape(-1, 2)
    along = np.array([frame.along for frame in table.frames]).reshape(-1, 2)
    fits, rods = _plate_fits(judged), _rod_rows(judged)
    return _rows(
        {
            "mark": [group.position.mark for group in table.groups],
            "shift_along": plain(groups.shift[:, 0]),
            "shift_in": plain(groups.shift[:, 1]),
            "turn": plain(groups.turn),
            "rods": [rods[group.rows] for group in table.groups],
            "plate_fit": [fits.get(i) for i in range(len(table.groups))],
            "note": [_note(judged, group) for group in table.groups],
            "line_deviation": plain(solved.line),
            "x": origin[:, 0].tolist(),
            "y": origin[:, 1].tolist(),
            "angle": np.arctan2(along[:, 1], along[:, 0]).tolist(),
        }
    )


def _rod_rows(judged: Judged) -> list[Row]:
    """Every rod of the plan, one position after the other."""
    table, solved = judged.rods, judged.solved
    built, off = plain(solved.as_built.T), plain(solved.deviation.T)
    columns: dict[str, list[Any]] = {
        "rod": (np.arange(len(table)) - table.first[table.position] + 1).tolist(),
        "along": built[0],
        "in": built[1],
        "d_along": off[0],
        "d_in": off[1],
        "miss": plain(solved.miss),
        "verdict": list(judged.rod_words),
        "determined": solved.determined.tolist(),
        "planned_along": table.planned[:, 0].tolist(),
        "planned_in": table.planned[:, 1].tolist(),
    }
    return _rows(columns)


def _note(judged: Judged, group: PositionRods) -> str | None:
    """What there is to say of a pattern as a whole."""
    bad = judged.solved.contradictory[group.rows].any()
    return f"{NO_PATTERN}." if bad else None


def _plate_fits(judged: Judged) -> dict[int, Row]:
    """Each fitted position's `plate_fit`, by its place in the plan."""
    groups, table = judged.groups, judged.rods
    fit, at = groups.free, groups.fitted
    hole = table.hole_diameter[table.first[at]]
    columns = {
        "overrun": fit.overrun_mm.tolist(),
        "fits": (fit.overrun_mm <= SLACK_MM).tolist(),
        "hole_needed": (hole + 2.0 * fit.overrun_mm).tolist(),
        "shift_along": fit.shift_mm[:, 0].tolist(),
        "shift_in": fit.shift_mm[:, 1].tolist(),
        "turn": fit.turn_rad.tolist(),
        "hole_diameter": hole.tolist(),
    }
    return dict(zip(at.tolist(), _rows(columns), strict=True))


def _rows(columns: dict[str, list[Any]]) -> list[Row]:
    """Rows of columns of one length."""
    names = tuple(columns)
    return [
        dict(zip(names, row, strict=False))
        for row in zip(*columns.values(), strict=True)
    ]
