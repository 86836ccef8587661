"""From readings to one observed value per check: corrections, repeats, uncertainty."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from checks.engine import tape, uncertainty
from checks.engine.arrays import BoolArray, FloatArray, IntArray
from checks.evaluation.table import CheckTable
from jobs.plan.geometry import wall_length
from jobs.plan.model import Building, Instrument, Plan, Reading
from jobs.plan.sheet import Kind

CLASS_NUMBER = {"I": 1, "II": 2, "III": 3}
ASSUMED_CLASS = "II"  # ours: taken where no instrument is named; the usual tape
TAPED = (
    Kind.DIAGONAL,
    Kind.WALL,
    Kind.LINE,
    Kind.SETBACK,
    Kind.OFFSET,
    Kind.GAGE,
    Kind.PROJECTION,
    Kind.NOTCH_WIDTH,
    Kind.NOTCH_DEPTH,
    Kind.PLUMB,
)
FAR = 0.1  # ours: no tape is out by a tenth of what it reads
STANDARD_TEMPERATURE_C = 20.0  # where the instrument does not say
NO_INSTRUMENT = Instrument(name="", kind="steel tape")


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
    readings: tuple[tuple[Reading, ...], ...]
    in_order: tuple[Reading, ...]


def standing(readings: Sequence[Reading]) -> list[Reading]:
    """The readings that no other reading supersedes, in order."""
    replaced = {reading.supersedes for reading in readings if reading.supersedes}
    return [reading for reading in readings if reading.id not in replaced]


def observe(building: Building, table: CheckTable) -> Observations:
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
    readings = standing(building.readings)
    by_check: list[list[Reading]] = [[] for _ in table.checks]
    for reading in readings:
        by_check[table.index[reading.check]].append(reading)
    rows = np.array([table.index[reading.check] for reading in readings], dtype=int)
    taped = np.isin(rows, table.rows(*TAPED))
    value, added, parts, wrong = _reduce_tape(building.plan, readings, taped)
    value = _from_first_corner(building.plan, table, readings, rows, value)
    factor = _to_one_height(readings, rows, len(table))
    value, parts = value * factor, _scaled(parts, factor)
    repeats = uncertainty.combine_repeats(rows, len(table), value, parts)
    correction = np.zeros(len(table))
    np.add.at(correction, rows, added)
    impossible = np.zeros(len(table), dtype=bool)
    impossible[rows[wrong]] = True
    is_taped = np.zeros(len(table), dtype=bool)
    is_taped[table.rows(*TAPED)] = True
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
        in_order=tuple(readings),
    )


def _column(values: Sequence[float | None]) -> FloatArray:
    """Values as floats, NaN for what is not given."""
    return np.array([np.nan if v is None else v for v in values], dtype=float)


def _reduce_tape(
    plan: Plan, readings: Sequence[Reading], taped: BoolArray
) -> tuple[FloatArray, FloatArray, uncertainty.UncertaintyParts, BoolArray]:
    """Corrected values, what was added, their uncertainty, and which cannot be. [mm]"""
    tools = [
        plan.instruments.get(reading.instrument or "", NO_INSTRUMENT)
        for reading in readings
    ]
    value = np.array([reading.value for reading in readings], dtype=float)
    length = np.where(taped, value, 0.0)
    steel = np.array(["steel" in tool.kind.lower() for tool in tools], dtype=bool)
    temperature = _column([reading.temperature for reading in readings])
    rise = np.abs(_column([reading.slope_rise for reading in readings]))
    data = tape.TapeData(
        temperature_c=np.where(steel, temperature, np.nan),
        standard_temperature_c=_column(
            [
                STANDARD_TEMPERATURE_C
                if tool.standard_temperature is None
                else tool.standard_temperature
                for tool in tools
            ]
        ),
        tension_n=_column([reading.tension for reading in readings]),
        standard_tension_n=_column([tool.standard_tension for tool in tools]),
        cross_section_mm2=_column([tool.cross_section for tool in tools]),
        modulus_mpa=_column([tool.elastic_modulus for tool in tools]),
        weight_n_per_m=_column([tool.weight for tool in tools]),
        span_mm=_column([reading.span for reading in readings]),
        nominal_length_mm=_column([tool.nominal_length for tool in tools]),
        actual_length_mm=_column([tool.actual_length for tool in tools]),
    )
    level = np.abs(length + tape.correct(length, **data).total_mm)
    wrong = taped & ((rise >= level) | (np.abs(level - np.abs(length)) > FAR * level))
    added = tape.correct(
        length, slope_rise_mm=np.where(rise < level, rise, np.nan), **data
    ).total_mm
    added = np.where(taped & ~wrong, added, 0.0)
    parts = uncertainty.reading_uncertainty(
        np.abs(length),
        np.array([reading.resolution for reading in readings], dtype=float),
        np.array(
            [CLASS_NUMBER[tool.accuracy_class or ASSUMED_CLASS] for tool in tools],
            dtype=int,
        ),
        ~np.isnan(temperature) | ~steel,
    )
    return value + added, added, parts, wrong


def _plumb_heights(
    readings: Sequence[Reading], rows: IntArray, n_checks: int
) -> FloatArray:
    """The greatest height a check's leans were read over; NaN for none. [mm]"""
    height = np.full(n_checks, np.nan)
    for row, reading in zip(rows.tolist(), readings, strict=True):
        if reading.height is not None:
            height[row] = np.fmax(height[row], reading.height)
    return height


def _to_one_height(
    readings: Sequence[Reading], rows: IntArray, n_checks: int
) -> FloatArray:
    """By how much each lean grows up to the greatest height of its check; else 1."""
    own = _column([reading.height for reading in readings])
    factor = _plumb_heights(readings, rows, n_checks)[rows] / own
    return np.where(np.isnan(own), 1.0, factor)


def _scaled(
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


def _from_first_corner(
    plan: Plan,
    table: CheckTable,
    readings: Sequence[Reading],
    rows: IntArray,
    value: FloatArray,
) -> FloatArray:
    """Turn line readings from a wall's second corner into distances from its first.

    By the plan's length of the wall, as every nominal comes from the plan alone: what
    was read from a corner is off by the same whichever corner the plan names first.
    """
    walls = {position.mark: position.wall for position in plan.positions}
    turned = value.copy()
    for i, reading in enumerate(readings):
        wall = walls.get(table.checks[rows[i]].mark or "")
        if reading.corner is not None and wall and reading.corner == wall[1]:
            turned[i] = wall_length(plan, wall) - value[i]
    return turned
