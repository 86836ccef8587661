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
from checks.evaluation import levels
from checks.evaluation.observe import (
    TAPED,
    Reduced,
    from_first_corner,
    observe,
    reduce_tape,
    standing,
)
from checks.evaluation.table import CheckTable
from jobs.plan.model import Building, Plan, Reading
from jobs.plan.sheet import Check, Kind, find_check

SUMS = ("total_mm", "combined_mm")
LEVELLED = (Kind.LEVEL, Kind.BENCHMARK)


@dataclass(frozen=True, slots=True, kw_only=True)
class WorkedReading:
    """One reading that stands. [mm], uncertainties standard ones

    corrections : what was added, by cause; only causes that added something.
    impossible : whether its data cannot be right together, so that nothing was added.
    corrected : as read with the corrections; of a line, from the wall's first corner;
        of a lean, over the greatest height any reading of the check names.
    uncertainties : by cause, of what is in `corrected`; only those there are.
    """

    reading: Reading
    corrections: dict[str, float]
    impossible: bool
    corrected: float
    uncertainties: dict[str, float]
    combined: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Worked:
    """A check's readings taken together. [mm]; NaN where there are none.

    Of a level or benchmark `mean` and `uncertainty` are left to the network of the
    set-ups, and `spread` is that of the worst set-up.
    """

    check: Check
    readings: tuple[WorkedReading, ...]
    mean: float
    uncertainty: float
    spread: float
    spread_limit: float


def work_out(building: Building, key: str) -> Worked:
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
        return Worked(check=check, readings=(), mean=nan, uncertainty=nan,
                      spread=nan, spread_limit=nan)  # fmt: skip
    row = table.index[key]
    observed = observe(own, table)
    levelled = table.checks[row].kind in LEVELLED
    if levelled:
        observed = levels.level_repeats(own.plan, table, observed)
    return Worked(
        check=table.checks[row],
        readings=tuple(_each(own, table, row)),
        mean=nan if levelled else float(observed.value[row]),
        uncertainty=nan if levelled else float(observed.uncertainty[row]),
        spread=float(observed.spread[row]),
        spread_limit=float(observed.spread_limit[row]),
    )


def corrected_values(
    plan: Plan, table: CheckTable, row: int, readings: Sequence[Reading]
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
    value = reduce_tape(plan, readings, np.ones(size, dtype=np.bool_)).value
    return from_first_corner(plan, table, readings, np.full(size, row), value)


def _each(building: Building, table: CheckTable, row: int) -> Iterator[WorkedReading]:
    """Every reading of the check that stands, in order."""
    check, readings = table.checks[row], standing(building.readings)
    if not readings:
        return
    taped = np.full(len(readings), check.kind in TAPED)
    reduced = reduce_tape(building.plan, readings, taped)
    corrected = from_first_corner(
        building.plan, table, readings, np.full(len(readings), row), reduced.value
    )
    parts = reduced.parts
    if check.kind in LEVELLED:
        sight = np.array([np.nan if r.sight is None else r.sight for r in readings])
        rows = [(row, reading) for reading in readings]
        parts = levels.level_parts(building.plan, rows, sight)
    known = check.kind is not Kind.STRENGTH
    over = _to_greatest_height(readings)
    for i, reading in enumerate(readings):
        each = _some(parts, i) if known else {}
        yield WorkedReading(
            reading=reading,
            corrections=_named(reduced, i) if taped[i] else {},
            impossible=bool(reduced.impossible[i]),
            corrected=float(corrected[i]) * over[i],
            uncertainties={cause: mm * over[i] for cause, mm in each.items()},
            combined=float(parts.combined_mm[i]) * over[i] if known else float("nan"),
        )


def _to_greatest_height(readings: Sequence[Reading]) -> list[float]:
    """By how much each lean grows up to the greatest height of the check; else 1."""
    greatest = max((r.height for r in readings if r.height is not None), default=1.0)
    return [1.0 if r.height is None else greatest / r.height for r in readings]


def _named(reduced: Reduced, i: int) -> dict[str, float]:
    """What was added to one reading, by cause; nothing where its data cannot be."""
    if reduced.impossible[i]:
        return {}
    return _some(reduced.correction, i)


def _some(
    parts: TapeCorrection | uncertainty.UncertaintyParts, i: int
) -> dict[str, float]:
    """The causes of one reading that are not zero, by name without the unit."""
    names = (each.name for each in fields(parts) if each.name not in SUMS)
    each = {name.removesuffix("_mm"): float(getattr(parts, name)[i]) for name in names}
    return {name: amount for name, amount in each.items() if amount != 0.0}
