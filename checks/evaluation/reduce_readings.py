"""From readings to one observed value per check: corrections, repeats, uncertainty."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from checks.engine import tape, uncertainty
from checks.engine.arrays import BoolArray, FloatArray, IntArray
from checks.evaluation.check_table import CheckTable
from jobs.anchor_plan.check_keys import CheckKind
from jobs.anchor_plan.geometry import wall_length
from jobs.anchor_plan.values import BuildingInput, InstrumentSpec, Plan, ReadingValue

CLASS_NUMBER = {"I": 1, "II": 2, "III": 3}
ASSUMED_CLASS = "II"  # ours: taken where no instrument is named; the usual tape
TAPE_KINDS = (
    CheckKind.DIAGONAL,
    CheckKind.WALL,
    CheckKind.LINE,
    CheckKind.SETBACK,
    CheckKind.OFFSET,
    CheckKind.GAGE,
    CheckKind.PROJECTION,
    CheckKind.NOTCH_WIDTH,
    CheckKind.NOTCH_DEPTH,
    CheckKind.PLUMB,
)
IMPLAUSIBLE_CORRECTION_RATIO = 0.1  # ours: no tape is out by a tenth of what it reads
NON_STEEL_KINDS = (
    "glass",
    "fibre",
    "fiber",
    "cloth",
    "invar",
    "laser",
)  # ours: in a kind
STANDARD_TEMPERATURE_C = 20.0  # where the instrument does not say
DEFAULT_TAPE = InstrumentSpec(name="", kind="steel tape")


@dataclass(frozen=True, slots=True, kw_only=True)
class Observations:
    """What was observed at each check of the table; NaN where nothing was read.

    value : (n_checks,) corrected mean. [mm]
    uncertainty : (n_checks,) standard uncertainty of that mean. [mm]
    count : (n_checks,) readings that stand.
    spread, spread_limit : (n_checks,) largest less smallest, and what the
        instruments explain. [mm]
    disagree : (n_checks,) whether the spread is more than they explain.
    correction : (n_checks,) mean tape correction that was added. [mm]
    impossible : (n_checks,) whether a reading's data cannot be right together.
    readings : per check, the readings that stand, in order.
    in_order : all of them, as the document has them.
    """

    value: FloatArray
    uncertainty: FloatArray
    count: IntArray
    spread: FloatArray
    spread_limit: FloatArray
    disagree: BoolArray
    correction: FloatArray
    impossible: BoolArray
    readings: tuple[tuple[ReadingValue, ...], ...]
    all_readings: tuple[ReadingValue, ...]


def select_current_readings(readings: Sequence[ReadingValue]) -> list[ReadingValue]:
    """The readings that no other reading supersedes, in order."""
    replaced = {reading.supersedes for reading in readings if reading.supersedes}
    return [reading for reading in readings if reading.id not in replaced]


def reduce_readings(building: BuildingInput, table: CheckTable) -> Observations:
    """Reduce every standing reading and gather them by check.

    Tape readings are corrected (see `checks.engine.tape`), a line read from the
    wall's second corner is turned into a distance from its first, leans over several
    heights are taken over the greatest of them, and repeats are averaged. Grade-rod
    and strength readings are only gathered: their own rooms reduce them.

    Parameters
    ----------
    building : the plan and its readings.
    table : the checks, n_checks of them.
    """
    readings = select_current_readings(building.readings)
    by_check: list[list[ReadingValue]] = [[] for _ in table.checks]
    at = [table.index[reading.check] for reading in readings]
    for row, reading in zip(at, readings, strict=True):
        by_check[row].append(reading)
    rows = np.array(at, dtype=int)
    is_taped = np.zeros(len(table), dtype=bool)
    is_taped[table.rows(*TAPE_KINDS)] = True
    taped = is_taped[rows]
    reduced = reduce_tape_readings(building.plan, readings, taped)
    value = convert_to_first_corner(building.plan, table, readings, rows, reduced.value)
    factor = _height_factors(readings, rows, len(table))
    value, parts = value * factor, _scale_uncertainty(reduced.parts, factor)
    repeats = uncertainty.combine_repeats(rows, len(table), value, parts)
    correction = np.zeros(len(table))
    np.add.at(correction, rows, reduced.total_correction)
    impossible = np.zeros(len(table), dtype=bool)
    impossible[rows[reduced.impossible]] = True
    return Observations(
        value=repeats.mean_mm,
        uncertainty=repeats.uncertainty_mm,
        count=repeats.count,
        spread=repeats.spread_mm,
        spread_limit=repeats.spread_limit_mm,
        disagree=repeats.disagree & is_taped,
        correction=correction / np.maximum(repeats.count, 1),
        impossible=impossible,
        readings=tuple(tuple(group) for group in by_check),
        all_readings=tuple(readings),
    )


def _nan_array(values: Sequence[float | None]) -> FloatArray:
    """Values as floats, NaN for what is not given, which is what None becomes."""
    if values.count(None) == len(values):  # as most columns are, and quicker so
        return np.full(len(values), np.nan)
    return np.array(values, dtype=float)


@dataclass(frozen=True, slots=True, kw_only=True)
class TapeReduction:
    """Readings one by one, n of them, before repeats are taken together. [mm]

    value : (n,) corrected; as read where it is not of a tape, or cannot be.
    correction : what was added to the tape's, each cause by itself.
    added : (n,) its sum, 0 where nothing was added.
    parts : standard uncertainty, by cause.
    impossible : (n,) whether the reading's data cannot be right together.
    """

    value: FloatArray
    correction: tape.TapeCorrection
    total_correction: FloatArray
    parts: uncertainty.UncertaintyParts
    impossible: BoolArray


def reduce_tape_readings(
    plan: Plan, readings: Sequence[ReadingValue], taped: BoolArray
) -> TapeReduction:
    """Correct tape readings, each where its data are given, and weigh them.

    Parameters
    ----------
    plan : for its instruments.
    readings : n readings.
    taped : array, shape (n,)
        Which of them are a tape's.
    """
    tools = [DEFAULT_TAPE, *plan.instruments.values()]
    places = {name: i for i, name in enumerate(plan.instruments, start=1)}
    tool = np.array([places.get(r.instrument or "", 0) for r in readings], dtype=int)
    value = np.array([reading.value for reading in readings], dtype=float)
    length = np.where(taped, value, 0.0)
    steel = np.array([_is_steel_tape(each.kind) for each in tools])[tool]
    temperature = _nan_array([reading.temperature for reading in readings])
    rise = np.abs(_nan_array([reading.slope_rise for reading in readings]))
    standard = _nan_array([each.standard_temperature for each in tools])
    data = tape.TapeData(
        temperature_c=np.where(steel, temperature, np.nan),
        standard_temperature_c=np.where(
            np.isnan(standard), STANDARD_TEMPERATURE_C, standard
        )[tool],
        tension_n=_nan_array([reading.tension for reading in readings]),
        standard_tension_n=_nan_array([each.standard_tension for each in tools])[tool],
        cross_section_mm2=_nan_array([each.cross_section for each in tools])[tool],
        modulus_mpa=_nan_array([each.elastic_modulus for each in tools])[tool],
        weight_n_per_m=_nan_array([each.weight for each in tools])[tool],
        span_mm=_nan_array([reading.span for reading in readings]),
        nominal_length_mm=_nan_array([each.nominal_length for each in tools])[tool],
        actual_length_mm=_nan_array([each.actual_length for each in tools])[tool],
    )
    size = np.abs(length)
    level = size + np.sign(length) * tape.correct_lengths(length, **data).total_mm
    steep = (rise >= level) & (rise > 0.0)
    wrong = taped & (
        steep | (np.abs(level - size) > IMPLAUSIBLE_CORRECTION_RATIO * size)
    )
    correction = tape.correct_lengths(
        length, slope_rise_mm=np.where(rise < level, rise, np.nan), **data
    )
    added = np.where(taped & ~wrong, correction.total_mm, 0.0)
    parts = uncertainty.reading_uncertainty(
        size,
        np.array([reading.resolution for reading in readings], dtype=float),
        np.array([CLASS_NUMBER[t.accuracy_class or ASSUMED_CLASS] for t in tools])[
            tool
        ],
        ~np.isnan(temperature) | ~steel,
    )
    return TapeReduction(
        value=value + added,
        correction=correction,
        total_correction=added,
        parts=parts,
        impossible=wrong,
    )


def _is_steel_tape(kind: str) -> bool:
    """Whether a tape grows as steel does: one that says nothing else is of steel."""
    said = kind.lower()
    return not any(other in said for other in NON_STEEL_KINDS)


def _height_factors(
    readings: Sequence[ReadingValue], rows: IntArray, n_checks: int
) -> FloatArray:
    """By how much each lean grows up to the greatest height of its check; else 1."""
    own = _nan_array([reading.height for reading in readings])
    greatest = np.full(n_checks, np.nan)
    np.fmax.at(greatest, rows, own)
    return np.where(np.isnan(own), 1.0, greatest[rows] / own)


def _scale_uncertainty(
    parts: uncertainty.UncertaintyParts, factor: FloatArray
) -> uncertainty.UncertaintyParts:
    """The uncertainties of readings that are multiplied by a factor each."""
    return uncertainty.UncertaintyParts(
        class_mm=parts.class_mm * factor,
        resolution_mm=parts.resolution_mm * factor,
        temperature_mm=parts.temperature_mm * factor,
        level_mm=parts.level_mm * factor,
        combined_mm=parts.combined_mm * factor,
    )


def convert_to_first_corner(
    plan: Plan,
    table: CheckTable,
    readings: Sequence[ReadingValue],
    rows: IntArray,
    value: FloatArray,
) -> FloatArray:
    """Turn line readings from a wall's second corner into distances from its first.

    By the plan's length of the wall, as every nominal comes from the plan alone: what
    was read from a corner is off by the same whichever corner the plan names first.

    Parameters
    ----------
    plan, table : the walls and the checks.
    readings : n readings.
    rows : array, shape (n,)
        The check each is of.
    value : array, shape (n,)
        As corrected, from the corner that was read from. [mm]
    """
    walls = {position.mark: position.wall for position in plan.positions}
    turned = value.copy()
    for i in [
        i for i, reading in enumerate(readings) if reading.from_corner is not None
    ]:
        wall = walls.get(table.checks[rows[i]].mark or "")
        if wall and readings[i].from_corner == wall[1]:
            turned[i] = wall_length(plan, wall) - value[i]
    return turned
