"""The calculation of one check, step by step, from its readings to their mean.

The same arithmetic as the evaluation of the whole building (`reduce_readings`,
`pad_levels`), with each correction and each part of the uncertainty kept apart.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, fields, replace

import numpy as np

from checks.engine import uncertainty
from checks.engine.arrays import FloatArray
from checks.engine.tape import TapeCorrection
from checks.evaluation import pad_levels
from checks.evaluation.check_table import CheckTable
from checks.evaluation.reduce_readings import (
    LENGTH_KINDS,
    TapeReduction,
    convert_to_first_corner,
    height_factors,
    reduce_readings,
    reduce_tape_readings,
    select_current_readings,
)
from jobs.anchor_plan.check_keys import LEVEL_KINDS, CheckKind
from jobs.anchor_plan.check_sheet import find_check
from jobs.anchor_plan.planned_checks import Check
from jobs.anchor_plan.values import BuildingInput, Plan, ReadingValue

SUM_FIELDS = ("total_mm", "combined_mm")


@dataclass(frozen=True, slots=True, kw_only=True)
class ReadingCalculation:
    """The calculation of one current reading. [mm]; standard uncertainties

    Attributes
    ----------
    corrections : by cause; only those that are not zero.
    impossible : whether its data cannot be right together, so that nothing was added.
    corrected : the reading with its corrections; a line from the wall's first corner,
        an out-of-plumb over the greatest height of the check's readings.
    uncertainties : of `corrected`, by cause; only those that are not zero.
    """

    reading: ReadingValue
    corrections: dict[str, float]
    impossible: bool
    corrected: float
    uncertainties: dict[str, float]
    combined: float


@dataclass(frozen=True, slots=True, kw_only=True)
class CheckCalculation:
    """The calculation of a check from its readings. [mm]; NaN where there are none.

    For a level or benchmark `mean` and `uncertainty` are NaN, as only the adjustment of
    all set-ups gives a height, and `spread` is that of the worst set-up.
    """

    check: Check
    readings: tuple[ReadingCalculation, ...]
    mean: float
    uncertainty: float
    spread: float
    spread_limit: float


def trace_check(building: BuildingInput, key: str) -> CheckCalculation:
    """Trace the calculation of one check of a building.

    Parameters
    ----------
    building : the plan and its readings, those of other checks included.
    key : the check's canonical key.

    Raises
    ------
    UnknownCheckError
        If the plan has no such check.
    """
    own = replace(
        building, readings=tuple(r for r in building.readings if r.check == key)
    )
    table = CheckTable(own)
    nan = float("nan")
    if key not in table.index:  # gages, plumb and samples are listed once read
        return CheckCalculation(
            check=find_check(own.plan, key),
            readings=(),
            mean=nan,
            uncertainty=nan,
            spread=nan,
            spread_limit=nan,
        )
    row = table.index[key]
    observations = reduce_readings(own, table)
    levelled = table.checks[row].kind in LEVEL_KINDS
    if levelled:
        observations = pad_levels.compare_level_repeats(own.plan, table, observations)
    return CheckCalculation(
        check=table.checks[row],
        readings=tuple(_trace_readings(own, table, row)),
        mean=nan if levelled else float(observations.value[row]),
        uncertainty=nan if levelled else float(observations.uncertainty[row]),
        spread=float(observations.spread[row]),
        spread_limit=float(observations.spread_limit[row]),
    )


def correct_tape_values(
    plan: Plan, table: CheckTable, row: int, readings: Sequence[ReadingValue]
) -> FloatArray:
    """Correct tape readings of one check; a line to the wall's first corner. [mm]

    Parameters
    ----------
    plan, table : the instruments and walls, and the checks.
    row : of the check in the table; one that is read with a tape.
    readings : n readings of it.

    Returns
    -------
    array, shape (n,)
        The values that the check averages. [mm]
    """
    size = len(readings)
    value = reduce_tape_readings(plan, readings, np.ones(size, dtype=np.bool_)).value
    return convert_to_first_corner(plan, table, readings, np.full(size, row), value)


def _trace_readings(
    building: BuildingInput, table: CheckTable, row: int
) -> Iterator[ReadingCalculation]:
    """Yield the calculation of each current reading of the check, in order."""
    check, readings = table.checks[row], select_current_readings(building.readings)
    if not readings:
        return
    is_length = np.full(len(readings), check.kind in LENGTH_KINDS)
    reduced = reduce_tape_readings(building.plan, readings, is_length)
    corrected = convert_to_first_corner(
        building.plan, table, readings, np.full(len(readings), row), reduced.value
    )
    parts = reduced.parts
    if check.kind in LEVEL_KINDS:
        sight = np.array(
            [np.nan if r.sight_distance is None else r.sight_distance for r in readings]
        )
        points = [(row, reading) for reading in readings]
        parts = pad_levels.level_uncertainty_parts(building.plan, points, sight)
    known = check.kind is not CheckKind.STRENGTH
    factor = height_factors(readings, np.zeros(len(readings), dtype=int), 1).tolist()
    for i, reading in enumerate(readings):
        each = _nonzero_parts(parts, i) if known else {}
        yield ReadingCalculation(
            reading=reading,
            corrections=_named_corrections(reduced, i) if is_length[i] else {},
            impossible=bool(reduced.impossible[i]),
            corrected=float(corrected[i]) * factor[i],
            uncertainties={cause: mm * factor[i] for cause, mm in each.items()},
            combined=float(parts.combined_mm[i]) * factor[i] if known else float("nan"),
        )


def _named_corrections(reduced: TapeReduction, i: int) -> dict[str, float]:
    """Return the corrections added to one reading, by cause."""
    if reduced.impossible[i]:
        return {}
    return _nonzero_parts(reduced.correction, i)


def _nonzero_parts(
    parts: TapeCorrection | uncertainty.UncertaintyParts, i: int
) -> dict[str, float]:
    """Return the parts of one reading that are not zero, by name without the unit."""
    names = [field.name for field in fields(parts) if field.name not in SUM_FIELDS]
    amounts = {name: float(getattr(parts, name)[i]) for name in names}
    return {name.removesuffix("_mm"): mm for name, mm in amounts.items() if mm != 0.0}
