"""Steel tape corrections, to be added to a length as read.

Five effects, each applied only where all its data are given, NaN meaning *not given*:
the tape's own length against its certificate, temperature, tension, sag between
supports, and slope. The first four are computed from the length as read, the slope
from the length so corrected. Their sum is therefore the exact horizontal distance, not
an approximation of it:

    horizontal = sqrt(s**2 - rise**2),   s = read + the first four corrections

Formulae: C. D. Ghilani and P. R. Wolf, *Elementary Surveying*, chapter 6; the slope
exact by Pythagoras. Measuring and laying out take opposite signs: `correct_lengths` is
for measuring, `lay_out` for setting out a required distance.

A length with a sign (an offset to the left, say) is corrected in size and keeps its
sign.
"""

from dataclasses import dataclass
from typing import TypedDict, Unpack

import numpy as np
import numpy.typing as npt

from checks.engine.arrays import BoolArray, FloatArray
from checks.engine.errors import EngineError

STEEL_EXPANSION = 11.6e-6
"""Thermal expansion of tape steel. [1/°C] 6.45e-6 per °F, as surveying texts give."""


@dataclass(frozen=True, slots=True, kw_only=True)
class TapeCorrection:
    """Corrections to be added to each length, by cause. [mm], all of shape (n,).

    Zero where a cause's data are incomplete.
    """

    standardisation_mm: FloatArray
    temperature_mm: FloatArray
    tension_mm: FloatArray
    sag_mm: FloatArray
    slope_mm: FloatArray
    total_mm: FloatArray


class TapeData(TypedDict, total=False):
    """Keywords of `correct_lengths` for the tape and its use; units as there."""

    temperature_c: npt.ArrayLike
    standard_temperature_c: npt.ArrayLike
    tension_n: npt.ArrayLike
    standard_tension_n: npt.ArrayLike
    cross_section_mm2: npt.ArrayLike
    modulus_mpa: npt.ArrayLike
    weight_n_per_m: npt.ArrayLike
    span_mm: npt.ArrayLike
    nominal_length_mm: npt.ArrayLike
    actual_length_mm: npt.ArrayLike


def correct_lengths(
    length_mm: npt.ArrayLike,
    *,
    temperature_c: npt.ArrayLike = np.nan,
    standard_temperature_c: npt.ArrayLike = np.nan,
    tension_n: npt.ArrayLike = np.nan,
    standard_tension_n: npt.ArrayLike = np.nan,
    cross_section_mm2: npt.ArrayLike = np.nan,
    modulus_mpa: npt.ArrayLike = np.nan,
    weight_n_per_m: npt.ArrayLike = np.nan,
    span_mm: npt.ArrayLike = np.nan,
    nominal_length_mm: npt.ArrayLike = np.nan,
    actual_length_mm: npt.ArrayLike = np.nan,
    slope_rise_mm: npt.ArrayLike = np.nan,
    expansion: float = STEEL_EXPANSION,
) -> TapeCorrection:
    """Compute the corrections to lengths measured with a steel tape.

    With L the length as read, l each unsupported span (whole ones, then the rest)::

        standardisation = (actual - nominal) / nominal * L
        temperature     = expansion * (T - T0) * L
        tension         = (P - P0) * L / (A * E)
        sag             = -sum(w**2 * l**3) / (24 * P**2)
        slope           = sqrt(s**2 - rise**2) - s,   s = L + the four above

    The sag is that of a shallow parabola [1]_, valid for pulls well above the tape's
    own weight.

    Parameters
    ----------
    length_mm : array, shape (n,)
        Lengths as read; a sign is kept. [mm]
    temperature_c : array, shape (n,) or scalar
        Temperature of the tape. NaN: not given, as in all that follow. [°C]
    standard_temperature_c : array, shape (n,) or scalar
        Temperature at which the tape has its length. [°C]
    tension_n : array, shape (n,) or scalar
        Pull on the tape. [N]
    standard_tension_n : array, shape (n,) or scalar
        Pull at which the tape has its length. [N]
    cross_section_mm2 : array, shape (n,) or scalar
        Cross-section of the tape. [mm²]
    modulus_mpa : array, shape (n,) or scalar
        Elastic modulus of the tape. [MPa]
    weight_n_per_m : array, shape (n,) or scalar
        Weight of the hanging tape. [N/m]
    span_mm : array, shape (n,) or scalar
        Distance between supports. NaN: supported throughout. [mm]
    nominal_length_mm : array, shape (n,) or scalar
        Length marked on the tape. [mm]
    actual_length_mm : array, shape (n,) or scalar
        Length by its certificate, supported throughout. [mm]
    slope_rise_mm : array, shape (n,) or scalar
        Difference in height of the two ends. [mm]
    expansion : float
        Thermal expansion of the tape. [1/°C]

    Returns
    -------
    TapeCorrection
        Each correction and their sum, to be added to the length as read. [mm]

    Raises
    ------
    EngineError
        If a span, tension, cross-section, modulus or nominal length that is used is
        not positive, or a rise is not less than its length.

    References
    ----------
    .. [1] C. D. Ghilani and P. R. Wolf, *Elementary Surveying: An Introduction to
       Geomatics*, chapter 6, corrections for length, temperature, tension, sag.
    """
    length = np.asarray(length_mm, dtype=np.float64)
    size = np.abs(length)
    warmer = _broadcast(temperature_c, size) - _broadcast(standard_temperature_c, size)
    effects = (
        _standardisation(
            size,
            _broadcast(nominal_length_mm, size),
            _broadcast(actual_length_mm, size),
        ),
        _zero_if_missing(expansion * warmer * size),
        _tension(
            size,
            _broadcast(tension_n, size) - _broadcast(standard_tension_n, size),
            _broadcast(cross_section_mm2, size),
            _broadcast(modulus_mpa, size),
        ),
        _sag(
            size,
            _broadcast(tension_n, size),
            _broadcast(weight_n_per_m, size),
            _broadcast(span_mm, size),
        ),
    )
    rise = _zero_if_missing(_broadcast(slope_rise_mm, size))
    slope = _slope(size + sum(effects), rise)
    sign = np.where(length < 0.0, -1.0, 1.0)
    return _with_sign((*effects, slope), sign)


def lay_out(
    required_mm: npt.ArrayLike,
    *,
    slope_rise_mm: npt.ArrayLike = np.nan,
    expansion: float = STEEL_EXPANSION,
    **data: Unpack[TapeData],
) -> TapeCorrection:
    """Compute the corrections from a required horizontal distance to the reading.

    The exact opposite of `correct_lengths`: the reading r = required + total solves
    r + correct_lengths(r).total = required, by iteration to 1e-10 mm. All signs are
    therefore opposite (with a tape too long the reading is short) [1]_.

    Parameters
    ----------
    required_mm : array, shape (n,)
        Required horizontal distances; a sign is kept. [mm]
    slope_rise_mm : array, shape (n,) or scalar
        Difference in height of the two ends; any size. [mm]
    expansion : float
        As for `correct_lengths`. [1/°C]
    **data : arrays, shape (n,) or scalar
        The other keywords of `correct_lengths`, in its units. [°C, N, N/m, mm, mm²,
        MPa]

    Returns
    -------
    TapeCorrection
        Each correction and their sum, to be added to the required distance. [mm]

    Raises
    ------
    EngineError
        As for `correct_lengths`, except for the rise; or if the tape sags so much under
        the given pull that no reading lays the distance out.

    References
    ----------
    .. [1] C. D. Ghilani and P. R. Wolf, *Elementary Surveying: An Introduction to
       Geomatics*, chapter 6, section on laying out with a tape.
    """
    required = np.asarray(required_mm, dtype=np.float64)
    size = np.abs(required)
    inclined = np.hypot(size, _zero_if_missing(_broadcast(slope_rise_mm, size)))
    close_enough = 1e-10 + 8.0 * np.spacing(inclined)
    reading = inclined
    for _ in range(60):
        found = correct_lengths(reading, expansion=expansion, **data)
        last, reading = reading, inclined - found.total_mm
        # Where sag grows faster than the reading, the iteration runs away.
        if np.any(reading > 2.0 * inclined + 1.0):
            raise EngineError(
                "the tape sags so much between its supports that no reading lays "
                "the distance out; pull harder or support the tape closer"
            )
        if np.all(np.isnan(reading) | (np.abs(reading - last) <= close_enough)):
            break
    parts = (
        found.standardisation_mm,
        found.temperature_mm,
        found.tension_mm,
        found.sag_mm,
        size - inclined,
    )
    return _with_sign(parts, np.where(required < 0.0, 1.0, -1.0))


def normal_tension(
    length_mm: npt.ArrayLike,
    *,
    standard_tension_n: npt.ArrayLike,
    cross_section_mm2: npt.ArrayLike,
    modulus_mpa: npt.ArrayLike,
    weight_n_per_m: npt.ArrayLike,
    span_mm: npt.ArrayLike,
) -> FloatArray:
    """Compute the pull at which stretch and sag of the tape cancel.

    The one root above the standard tension of the cubic (see `correct_lengths`) [1]_::

        P**2 * (P - P0) = A * E * sum(w**2 * l**3) / (24 * L)

    by Newton's method from P0 + cbrt(right-hand side). That start is above the root,
    where the cubic is convex, so every step comes nearer and none overshoots.

    Parameters
    ----------
    length_mm : array, shape (n,)
        Lengths as read. [mm]
    standard_tension_n : array, shape (n,) or scalar
        Pull at which the tape has its length. [N]
    cross_section_mm2 : array, shape (n,) or scalar
        Cross-section of the tape. [mm²]
    modulus_mpa : array, shape (n,) or scalar
        Elastic modulus of the tape. [MPa]
    weight_n_per_m : array, shape (n,) or scalar
        Weight of the hanging tape. [N/m]
    span_mm : array, shape (n,) or scalar
        Distance between supports. [mm]

    Returns
    -------
    array, shape (n,)
        The pull. NaN where any input is NaN. [N]

    Raises
    ------
    EngineError
        If a length, span, cross-section or modulus is not positive, or a standard
        tension is negative.

    References
    ----------
    .. [1] C. D. Ghilani and P. R. Wolf, *Elementary Surveying: An Introduction to
       Geomatics*, chapter 6, normal tension.
    """
    length = np.asarray(length_mm, dtype=np.float64)
    standard = _broadcast(standard_tension_n, length)
    area, modulus = (
        _broadcast(cross_section_mm2, length),
        _broadcast(modulus_mpa, length),
    )
    span = _broadcast(span_mm, length)
    everywhere = np.ones(length.shape, dtype=np.bool_)
    _require_positive(length, everywhere, "length")
    _require_positive(span, everywhere, "distance between supports")
    _require_positive(area, everywhere, "cross-section")
    _require_positive(modulus, everywhere, "elastic modulus")
    if np.any(standard < 0.0):
        raise EngineError("a standard tension is negative; give it in newtons, 0 or up")
    weight = _broadcast(weight_n_per_m, length) / 1000.0
    right = area * modulus * weight**2 * _cubed_spans(length, span) / (24.0 * length)
    pull = standard + np.cbrt(right)
    for _ in range(60):
        slope = pull * (3.0 * pull - 2.0 * standard)
        step = (pull**2 * (pull - standard) - right) / np.where(slope > 0, slope, 1.0)
        pull = pull - step
        if np.all(np.isnan(step) | (np.abs(step) <= 1e-13 * (1.0 + pull))):
            break
    return pull


def _broadcast(value: npt.ArrayLike, pattern: FloatArray) -> FloatArray:
    return np.broadcast_to(np.asarray(value, dtype=np.float64), pattern.shape)


def _zero_if_missing(value: FloatArray) -> FloatArray:
    return np.where(np.isnan(value), 0.0, value)


def _require_positive(value: FloatArray, used: BoolArray, what: str) -> None:
    """Raise if a value that is used is zero or negative."""
    bad = used & (value <= 0.0)
    if np.any(bad):
        raise EngineError(
            f"a {what} of {float(value[bad].flat[0]):g} was given; "
            "it must be greater than zero"
        )


def _standardisation(
    length: FloatArray, nominal: FloatArray, actual: FloatArray
) -> FloatArray:
    given = ~np.isnan(actual - nominal)
    _require_positive(nominal, given, "nominal tape length")
    # Dividing by 1 where nothing is given: a zero nominal length must not warn.
    ratio = (actual - nominal) / np.where(given, nominal, 1.0)
    return np.where(given, ratio, 0.0) * length


def _tension(
    length: FloatArray, excess: FloatArray, area: FloatArray, modulus: FloatArray
) -> FloatArray:
    given = ~np.isnan(excess + area + modulus)
    _require_positive(area, given, "cross-section")
    _require_positive(modulus, given, "elastic modulus")
    stiffness = np.where(given, area * modulus, 1.0)
    return np.where(given, excess / stiffness, 0.0) * length


def _sag(
    length: FloatArray, pull: FloatArray, weight: FloatArray, span: FloatArray
) -> FloatArray:
    given = ~np.isnan(pull + weight + span)
    _require_positive(pull, given, "tension on a hanging tape")
    _require_positive(span, given, "distance between supports")
    relative = weight / 1000.0 / np.where(given, pull, 1.0)
    cubes = _cubed_spans(length, np.where(given, span, 1.0))
    return np.where(given, -(relative**2) * cubes / 24.0, 0.0)


def _cubed_spans(length: FloatArray, span: FloatArray) -> FloatArray:
    """Sum the cubes of the whole spans in a length, and of the rest. [mm³]"""
    whole = np.floor(length / span)
    rest = np.maximum(length - whole * span, 0.0)
    return np.asarray(whole * span**3 + rest**3)


def _slope(inclined: FloatArray, rise: FloatArray) -> FloatArray:
    """Compute horizontal less inclined length. [mm]

    -rise**2 / (inclined + horizontal): the plain difference of the two lengths would
    lose the digits of a small rise.
    """
    steep = np.abs(rise) > 0.0
    bad = steep & (np.abs(rise) >= inclined)
    if np.any(bad):
        raise EngineError(
            f"a rise of {float(rise[bad].flat[0]):g} mm was given for a length of "
            f"{float(inclined[bad].flat[0]):g} mm; it must be less than the length"
        )
    base = np.where(steep, inclined, 1.0)
    level = np.sqrt((base - rise) * (base + rise))
    return np.where(steep, -(rise**2) / (base + level), 0.0)


def _with_sign(parts: tuple[FloatArray, ...], sign: FloatArray) -> TapeCorrection:
    standardisation, temperature, tension, sag, slope = (sign * part for part in parts)
    return TapeCorrection(
        standardisation_mm=standardisation,
        temperature_mm=temperature,
        tension_mm=tension,
        sag_mm=sag,
        slope_mm=slope,
        total_mm=standardisation + temperature + tension + sag + slope,
    )
