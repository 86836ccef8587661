"""One check worked out: what was done to each reading, and what repeats come to.

The same arithmetic as the evaluation of the whole building (`observe`, `levels`), with
each correction and each part of the uncertainty kept apart for whoever follows it.
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
    TAPE_KINDS,
    TapeReduction,
    convert_to_first_corner,
    reduce_readings,
    reduce_tape_readings,
    select_current_readings,
)
from jobs.anchor_plan.check_keys import CheckKind
from jobs.anchor_plan.check_sheet import find_check
from jobs.anchor_plan.planned_checks import Check
from jobs.anchor_plan.values import BuildingInput, Plan, ReadingValue

SUM_FIELDS = ("total_mm", "combined_mm")
LEVEL_KINDS = (CheckKind.LEVEL, CheckKind.BENCHMARK)


@dataclass(frozen=True, slots=True, kw_only=True)
class ReadingCalculation:
    """One reading that stands. [mm], uncertainties standard ones

    corrections : what was added, by cause; only causes that added something.
    impossible : whether its data cannot be right together, so that nothing was added.
    corrected : as read with the corrections; of a line, from the wall's first corner;
        of a lean, over the greatest height any reading of the check names.
    uncertainties : by cause, of what is in `corrected`; only those there are.
    """

    reading: ReadingValue
    corrections: dict[str, float]
    impossible: bool
    corrected: float
    uncertainties: dict[str, float]
    combined: float


@dataclass(frozen=True, slots=True, kw_only=True)
class CheckCalculation:
    """A check's readings taken together. [mm]; NaN where there are none.

    Of a level or benchmark `mean` and `uncertainty` are left to the network of the
    set-ups, and `spread` is that of the worst set-up.
    """

    check: Check
    readings: tuple[ReadingCalculation, ...]
    mean: float
    uncertainty: float
    spread: float
    spread_limit: float


def trace_check(building: BuildingInput, key: str) -> CheckCalculation:
    """Work one check of a building out.

    Parameters
    ----------
    building : the plan, and readings of which those of the check are taken.
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
    if key not in table.index:  # a gage, a lean or a sample nobody read yet
        check = find_check(own.plan, key)
        return CheckCalculation(check=check, readings=(), mean=nan, uncertainty=nan,
                      spread=nan, spread_limit=nan)  # fmt: skip
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
    """Tape readings of one check as corrected; of a line, from the first corner. [mm]

    Parameters
    ----------
    plan, table : the instruments and walls, and the checks.
    row : of the check in the table; one that a tape is read for.
    readings : n readings of it.

    Returns
    -------
    array, shape (n,)
        What the mean of the check is taken of. [mm]
    """
    size = len(readings)
    value = reduce_tape_readings(plan, readings, np.ones(size, dtype=np.bool_)).value
    return convert_to_first_corner(plan, table, readings, np.full(size, row), value)


def _trace_readings(
    building: BuildingInput, table: CheckTable, row: int
) -> Iterator[ReadingCalculation]:
    """Every reading of the check that stands, in order."""
    check, readings = table.checks[row], select_current_readings(building.readings)
    if not readings:
        return
    taped = np.full(len(readings), check.kind in TAPE_KINDS)
    reduced = reduce_tape_readings(building.plan, readings, taped)
    corrected = convert_to_first_corner(
        building.plan, table, readings, np.full(len(readings), row), reduced.value
    )
    parts = reduced.parts
    if check.kind in LEVEL_KINDS:
        sight = np.array(
            [np.nan if r.sight_distance is None else r.sight_distance for r in readings]
        )
        rows = [(row, reading) for reading in readings]
        parts = pad_levels.level_uncertainty_parts(building.plan, rows, sight)
    known = check.kind is not CheckKind.STRENGTH
    over = _greatest_height_factors(readings)
    for i, reading in enumerate(readings):
        each = _nonzero_parts(parts, i) if known else {}
        yield ReadingCalculation(
            reading=reading,
            corrections=_named_corrections(reduced, i) if taped[i] else {},
            impossible=bool(reduced.impossible[i]),
            corrected=float(corrected[i]) * over[i],
            uncertainties={cause: mm * over[i] for cause, mm in each.items()},
            combined=float(parts.combined_mm[i]) * over[i] if known else float("nan"),
        )


def _greatest_height_factors(readings: Sequence[ReadingValue]) -> list[float]:
    """By how much each lean grows up to the greatest height of the check; else 1."""
    greatest = max((r.height for r in readings if r.height is not None), default=1.0)
    return [1.0 if r.height is None else greatest / r.height for r in readings]


def _named_corrections(reduced: TapeReduction, i: int) -> dict[str, float]:
    """What was added to one reading, by cause; nothing where its data cannot be."""
    if reduced.impossible[i]:
        return {}
    return _nonzero_parts(reduced.correction, i)


def _nonzero_parts(
    parts: TapeCorrection | uncertainty.UncertaintyParts, i: int
) -> dict[str, float]:
    """The causes of one reading that are not zero, by name without the unit."""
    names = (each.name for each in fields(parts) if each.name not in SUM_FIELDS)
    each = {name.removesuffix("_mm"): float(getattr(parts, name)[i]) for name in names}
    return {name: amount for name, amount in each.items() if amount != 0.0}
