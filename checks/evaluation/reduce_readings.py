"""Reduction of readings to one observation per check: corrections and repeats.

Repeats that contradict each other leave their check without a value: nothing may be
solved or drawn from their mean. Where two or more agree, the others are set aside.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from checks.engine import tape, uncertainty
from checks.engine.arrays import BoolArray, FloatArray, IntArray
from checks.engine.common_error_estimate import (
    CommonErrorEstimate,
    estimate_common_errors,
)
from checks.engine.conformity import NEGLIGIBLE_UNCERTAINTY_MM
from checks.evaluation.check_table import CheckTable
from checks.evaluation.common_errors import CommonError, build_loadings
from checks.evaluation.independent_repeats import find_independent_repeats
from checks.evaluation.repeat_selection import (
    CorrectedReadings,
    ReadingSetAside,
    combine_agreeing,
    list_set_aside,
)
from jobs.anchor_plan.check_keys import TAPE_KINDS, CheckKind
from jobs.anchor_plan.geometry import wall_length
from jobs.anchor_plan.values import BuildingInput, InstrumentSpec, Plan, ReadingValue

CLASS_NUMBER = {"I": 1, "II": 2, "III": 3}
ASSUMED_CLASS = "II"
"""Accuracy class where no instrument is named: the usual tape. Project choice."""

LENGTH_KINDS = tuple(
    kind for kind in CheckKind if kind in TAPE_KINDS or kind is CheckKind.PLUMB
)
"""Kinds reduced as lengths: those read with a tape, and the out-of-plumb."""

IMPLAUSIBLE_CORRECTION_RATIO = 0.1
"""No tape is off by a tenth of what it reads. Project choice."""

NON_STEEL_KINDS = ("glass", "fibre", "fiber", "cloth", "invar", "laser")
"""Words in the kind of an instrument that is not a steel tape. Project choice."""

STANDARD_TEMPERATURE_C = 20.0
"""Of a tape whose instrument gives none."""

DEFAULT_TAPE = InstrumentSpec(name="", kind="steel tape")


@dataclass(frozen=True, kw_only=True)
class Observations:
    """The observation of each check of the table; NaN where nothing was read.

    Attributes
    ----------
    value : (n_checks,) corrected mean; NaN where the repeats contradict each other.
        [mm]
    uncertainty : (n_checks,) standard uncertainty of that mean. [mm]
    independent : (n_checks,) the part of it that the check shares with no other. [mm]
    common : (n_checks, n_common) its loadings on the errors that taped lengths have in
        common, each of unit variance; 0 for a check without a reading. [mm]
    common_errors : the n_common tapes and days that these errors belong to.
    common_estimate : of these errors, as repeats in more than one way show them.
    count : (n_checks,) current readings, those set aside included.
    contributing : (n_checks,) readings in the mean.
    set_aside : by row, the current readings left out of the mean, as others agree.
    spread, spread_limit : (n_checks,) largest less smallest of the readings that
        contribute, and the part of it that the instruments explain. [mm]
    disagree : (n_checks,) whether the spread is more than they explain.
    correction : (n_checks,) mean tape correction that was added. [mm]
    impossible : (n_checks,) whether a reading's data cannot be right together.
    readings : per check, its current readings, in order.
    all_readings : all current readings, in the order of the document.
    independent_repeats : (n_checks,) whether two readings differ in person, day or
        instrument, agreeing or not.
    """

    value: FloatArray
    uncertainty: FloatArray
    independent: FloatArray
    common: FloatArray
    common_errors: tuple[CommonError, ...]
    common_estimate: CommonErrorEstimate
    count: IntArray
    contributing: IntArray
    set_aside: Mapping[int, tuple[ReadingSetAside, ...]]
    spread: FloatArray
    spread_limit: FloatArray
    disagree: BoolArray
    correction: FloatArray
    impossible: BoolArray
    readings: tuple[tuple[ReadingValue, ...], ...]
    all_readings: tuple[ReadingValue, ...]
    independent_repeats: BoolArray

    @cached_property
    def repeated_independently(self) -> BoolArray:
        """Return the checks (n_checks,) whose independent repeats agree."""
        contradicted = self.disagree | self.impossible
        return np.asarray(self.independent_repeats & ~contradicted)

    @cached_property
    def contradicted(self) -> BoolArray:
        """Return which checks have readings and no value: their repeats contradict."""
        return np.asarray((self.count > 0) & (self.contributing == 0))

    def list_contributing(self, row: int) -> tuple[ReadingValue, ...]:
        """List the readings that make the value of a check.

        None where its repeats contradict, and never one that others outweigh.

        Parameters
        ----------
        row : of the check in the table.
        """
        if not self.contributing[row]:
            return ()
        aside = {each.reading.id for each in self.set_aside.get(row, ())}
        return tuple(each for each in self.readings[row] if each.id not in aside)

    def covariance(self, rows: IntArray) -> FloatArray:
        """Return the covariance (k, k) of the observations of some lengths. [mm²]

        Parameters
        ----------
        rows : array of int, shape (k,)
            Checks that were read with a tape.
        """
        shared = self.common[rows]
        covariance = shared @ shared.T
        covariance[np.diag_indices(len(rows))] += self.independent[rows] ** 2
        return np.asarray(covariance)


def select_current_readings(readings: Sequence[ReadingValue]) -> list[ReadingValue]:
    """Return the readings in force, in order: not superseded and not withdrawn."""
    # Both stay in the record and out of the arithmetic. What a withdrawn reading
    # superseded does not come back: somebody had a reason to replace it.
    superseded = {reading.supersedes for reading in readings if reading.supersedes}
    return [
        reading
        for reading in readings
        if reading.id not in superseded and reading.withdrawn is None
    ]


def reduce_readings(building: BuildingInput, table: CheckTable) -> Observations:
    """Reduce every current reading to one observation per check.

    Tape readings are corrected (see `checks.engine.tape`), lines read from the wall's
    second corner are converted to distances from its first, out-of-plumb readings are
    scaled to the greatest height of their check, and repeats are averaged. Grade-rod
    and strength readings are only collected: `pad_levels` and `concrete_strength`
    reduce them.

    Parameters
    ----------
    building : the plan and its readings.
    table : the checks, n_checks of them.
    """
    readings = select_current_readings(building.readings)
    by_check: list[list[ReadingValue]] = [[] for _ in table.checks]
    row_of = [table.index[reading.check] for reading in readings]
    for row, reading in zip(row_of, readings, strict=True):
        by_check[row].append(reading)
    rows = np.array(row_of, dtype=int)
    is_length = np.zeros(len(table), dtype=bool)
    is_length[table.rows(*LENGTH_KINDS)] = True
    reduced = reduce_tape_readings(building.plan, readings, is_length[rows])
    value = reduced.value
    second = find_second_corner(building.plan, table, readings, rows)
    if second:
        value = convert_to_first_corner(building.plan, table, readings, rows, value)
    factor = height_factors(readings, rows, len(table))
    # An error that lengthens a reading shortens what it is measured back from.
    sign = np.where(reduced.value < 0.0, -1.0, 1.0)
    sign[second] = -1.0
    loading = reduced.loading * (sign * factor)[:, None]
    value, parts = value * factor, _scale_uncertainty(reduced.parts, factor)
    reduction = CorrectedReadings(rows, value, parts, loading)
    combined, kept = combine_agreeing(reduction, is_length)
    disagree = combined.disagree & is_length
    disagree[rows[~kept]] = False  # those that are left agree
    correction = np.zeros(len(table))
    np.add.at(correction, rows[kept], reduced.total_correction[kept])
    impossible = np.zeros(len(table), dtype=bool)
    impossible[rows[reduced.impossible]] = True
    return Observations(
        value=np.where(disagree, np.nan, combined.mean_mm),
        uncertainty=combined.uncertainty_mm,
        independent=combined.independent_mm,
        common=combined.common_mm,
        common_errors=reduced.common_errors,
        common_estimate=_estimate_from_repeats(
            reduction, kept & (is_length & ~disagree)[rows]
        ),
        count=np.bincount(rows, minlength=len(table)),
        contributing=np.where(disagree, 0, combined.count),
        set_aside=list_set_aside(readings, reduction, kept, combined.mean_mm),
        spread=combined.spread_mm,
        spread_limit=combined.spread_limit_mm,
        disagree=disagree,
        correction=correction / np.maximum(combined.count, 1),
        impossible=impossible,
        readings=tuple(tuple(group) for group in by_check),
        all_readings=tuple(readings),
        # A reading set aside confirms nothing.
        independent_repeats=find_independent_repeats(
            [readings[i] for i in np.flatnonzero(kept)], rows[kept], len(table)
        ),
    )


def _estimate_from_repeats(
    reduction: CorrectedReadings, usable: BoolArray
) -> CommonErrorEstimate:
    """Estimate the common errors from the usable ones of n readings, (n,)."""
    rows = reduction.rows
    repeats = np.bincount(rows[usable], minlength=int(rows.max(initial=0)) + 1)
    chosen = usable & (repeats > 1)[rows]
    return estimate_common_errors(
        rows[chosen],
        reduction.value[chosen],
        reduction.loading[chosen],
        np.maximum(reduction.parts.independent_mm[chosen], NEGLIGIBLE_UNCERTAINTY_MM),
    )


def _nan_array(values: Sequence[float | None]) -> FloatArray:
    """Return values as floats, None as NaN."""
    # Most columns are empty: this is much faster than converting every None.
    if values.count(None) == len(values):
        return np.full(len(values), np.nan)
    return np.array(values, dtype=float)


@dataclass(frozen=True, slots=True, kw_only=True)
class TapeReduction:
    """The reduction of n single readings, before repeats are averaged. [mm]

    Attributes
    ----------
    value : (n,) corrected; as read where it is no length, or its data are impossible.
    correction : the tape correction, by cause.
    total_correction : (n,) the sum that was added, 0 where nothing was.
    parts : standard uncertainty, by cause.
    loading : (n, n_common) on the `common_errors`, for a reading of positive sign.
    impossible : (n,) whether the reading's data cannot be right together.
    """

    value: FloatArray
    correction: tape.TapeCorrection
    total_correction: FloatArray
    parts: uncertainty.UncertaintyParts
    loading: FloatArray
    common_errors: tuple[CommonError, ...]
    impossible: BoolArray


def reduce_tape_readings(
    plan: Plan, readings: Sequence[ReadingValue], is_length: BoolArray
) -> TapeReduction:
    """Correct tape readings where their data are given, and compute uncertainties.

    Parameters
    ----------
    plan : for its instruments.
    readings : n readings.
    is_length : array, shape (n,)
        Which of them are reduced as lengths.
    """
    tapes = [DEFAULT_TAPE, *plan.instruments.values()]
    index = {name: i for i, name in enumerate(plan.instruments, start=1)}
    tape_of = np.array([index.get(r.instrument or "", 0) for r in readings], dtype=int)
    value = np.array([reading.value for reading in readings], dtype=float)
    length = np.where(is_length, value, 0.0)
    steel = np.array([_is_steel_tape(each.kind) for each in tapes])[tape_of]
    temperature = _nan_array([reading.temperature for reading in readings])
    data = _tape_data(readings, tapes, tape_of, np.where(steel, temperature, np.nan))
    rise = np.abs(_nan_array([reading.slope_rise for reading in readings]))
    size = np.abs(length)
    # The slope correction needs the corrected tape length, so it is applied last.
    correction = tape.correct_lengths(length, **data)
    level = size + np.sign(length) * correction.total_mm
    # A rise as long as the tape, or a correction this large, is a typing error.
    steep = (rise >= level) & (rise > 0.0)
    excessive = np.abs(level - size) > IMPLAUSIBLE_CORRECTION_RATIO * size
    impossible = is_length & (steep | excessive)
    if (rise < level).any():
        correction = tape.correct_lengths(
            length, slope_rise_mm=np.where(rise < level, rise, np.nan), **data
        )
    total = np.where(is_length & ~impossible, correction.total_mm, 0.0)
    classes = [CLASS_NUMBER[each.accuracy_class or ASSUMED_CLASS] for each in tapes]
    parts = uncertainty.reading_uncertainty(
        size,
        np.array([reading.resolution for reading in readings], dtype=float),
        np.array(classes)[tape_of],
        # Only steel needs a temperature: its expansion is the one that is modelled.
        ~np.isnan(temperature) | ~steel,
    )
    loading, errors = build_loadings(
        parts, readings, tape_of, [each.name for each in tapes], is_length
    )
    return TapeReduction(
        value=value + total,
        correction=correction,
        total_correction=total,
        parts=parts,
        loading=loading,
        common_errors=errors,
        impossible=impossible,
    )


def _tape_data(
    readings: Sequence[ReadingValue],
    tapes: Sequence[InstrumentSpec],
    tape_of: IntArray,
    temperature_c: FloatArray,
) -> tape.TapeData:
    """Collect the correction data of n readings, NaN where not given."""
    standard = _nan_array([each.standard_temperature for each in tapes])
    standard = np.where(np.isnan(standard), STANDARD_TEMPERATURE_C, standard)

    def of_tape(values: Sequence[float | None]) -> FloatArray:
        return _nan_array(values)[tape_of]

    return tape.TapeData(
        temperature_c=temperature_c,
        standard_temperature_c=standard[tape_of],
        tension_n=_nan_array([reading.tension for reading in readings]),
        standard_tension_n=of_tape([each.standard_tension for each in tapes]),
        cross_section_mm2=of_tape([each.cross_section for each in tapes]),
        modulus_mpa=of_tape([each.elastic_modulus for each in tapes]),
        weight_n_per_m=of_tape([each.weight for each in tapes]),
        span_mm=_nan_array([reading.span for reading in readings]),
        nominal_length_mm=of_tape([each.nominal_length for each in tapes]),
        actual_length_mm=of_tape([each.actual_length for each in tapes]),
    )


def _is_steel_tape(kind: str) -> bool:
    """Return True unless the kind of an instrument names another material."""
    words = kind.lower()
    return not any(other in words for other in NON_STEEL_KINDS)


def height_factors(
    readings: Sequence[ReadingValue], rows: IntArray, n_checks: int
) -> FloatArray:
    """Return factors (n,) that scale out-of-plumb to the greatest height of a check.

    1 for readings without a height.
    """
    own = _nan_array([reading.height for reading in readings])
    if np.isnan(own).all():
        return np.ones(len(readings))
    greatest = np.full(n_checks, np.nan)
    np.fmax.at(greatest, rows, own)
    return np.where(np.isnan(own), 1.0, greatest[rows] / own)


def _scale_uncertainty(
    parts: uncertainty.UncertaintyParts, factor: FloatArray
) -> uncertainty.UncertaintyParts:
    """Return the uncertainties of readings that are multiplied by a factor each."""
    return uncertainty.UncertaintyParts(
        class_mm=parts.class_mm * factor,
        resolution_mm=parts.resolution_mm * factor,
        temperature_mm=parts.temperature_mm * factor,
        handling_mm=parts.handling_mm * factor,
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
    """Convert lines read from a wall's second corner to distances from its first.

    The planned length of the wall is used, as every nominal comes from the plan alone:
    the deviation is then the same whichever corner the plan names first.

    Parameters
    ----------
    plan, table : the walls and the checks.
    readings : n readings.
    rows : array, shape (n,)
        The check of each reading.
    value : array, shape (n,)
        Corrected, from the corner of the reading. [mm]
    """
    walls = {position.mark: position.wall for position in plan.positions}
    converted = value.copy()
    for i in find_second_corner(plan, table, readings, rows):
        wall = walls[table.checks[rows[i]].mark or ""]
        if wall:
            converted[i] = wall_length(plan, wall) - value[i]
    return converted


def find_second_corner(
    plan: Plan, table: CheckTable, readings: Sequence[ReadingValue], rows: IntArray
) -> list[int]:
    """Find the readings of lines that were taken from the wall's second corner.

    Parameters
    ----------
    plan, table : the walls and the checks.
    readings : n readings.
    rows : array, shape (n,)
        The check of each reading.

    Returns
    -------
    Their indices, in order.
    """
    cornered = [i for i, each in enumerate(readings) if each.from_corner is not None]
    if not cornered:
        return []
    walls = {position.mark: position.wall for position in plan.positions}
    found = []
    for i in cornered:
        wall = walls.get(table.checks[rows[i]].mark or "")
        if wall and readings[i].from_corner == wall[1]:
            found.append(i)
    return found
