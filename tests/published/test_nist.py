"""Least squares against certified values: NIST Statistical Reference Datasets.

https://www.itl.nist.gov/div898/strd: values certified to 15 digits. The data of Norris
and of the analyses of variance come with an installed package (scipy's own tests) and
are read from there; where a wheel leaves them out the tests are skipped. NoInt1 and
NoInt2 are short enough to stand here (second-hand).

Only what asks the same question is compared. A straight line is fitted by the strength
curve (over the logarithm of maturity) and by the established column line. A line
through the origin is a level net of one unknown: y / x observed with weight x**2. An
analysis of variance of one factor is a net whose points are read again and again from
one benchmark: the heights are the means of the treatments and the a posteriori sigma
is the certified residual standard deviation. Longley is left out: nothing in the
program fits six predictors at once.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from decimal import Decimal
from importlib.resources import files

import numpy as np
import pytest

from checks.engine.concrete.forecast import fit_curve
from checks.engine.group_tolerances import fit_column_line
from checks.engine.levelling.level_network import (
    LevelNetworkAdjustment,
    adjust_height_differences,
)


def lines_of(folder: str, name: str) -> list[str]:
    """The lines of a data set that scipy brings for its own tests."""
    place = files("scipy.stats").joinpath("tests", "data", folder, f"{name}.dat")
    try:
        return place.read_text(encoding="ascii").splitlines()
    except FileNotFoundError:
        pytest.skip(f"this wheel of scipy leaves {name}.dat out")


# ---- a straight line ----------------------------------------------------------------


@dataclass(frozen=True)
class Norris:
    x: np.ndarray
    y: np.ndarray
    # certified, Norris.dat lines 31 to 46
    b0 = -0.262323073774029
    b1 = 1.00211681802045
    sd_b0 = 0.232818234301152
    sd_b1 = 0.429796848199937e-03
    residual_sd = 0.884796396144373


@pytest.fixture(scope="module")
def norris() -> Norris:
    rows = [line.split() for line in lines_of("nist_linregress", "Norris")[60:96]]
    y, x = np.array(rows, dtype=float).T
    assert x.size == 36
    return Norris(x, y)


def test_the_strength_curve_is_the_certified_line(norris: Norris) -> None:
    # x / 100 as the logarithm of maturity: exp(998.5) would not be a number
    curve = fit_curve(np.exp(norris.x / 100), norris.y)
    assert curve.intercept_mpa == pytest.approx(norris.b0, rel=1e-11)
    assert curve.slope_mpa / 100 == pytest.approx(norris.b1, rel=1e-13)
    assert curve.scatter_mpa == pytest.approx(norris.residual_sd, rel=1e-12)
    sd_slope = curve.scatter_mpa / np.sqrt(curve.spread_log)
    assert sd_slope / 100 == pytest.approx(norris.sd_b1, rel=1e-12)
    about_zero = np.sqrt(1 / curve.samples + curve.mean_log**2 / curve.spread_log)
    assert curve.scatter_mpa * about_zero == pytest.approx(norris.sd_b0, rel=1e-12)


def test_the_established_column_line_is_the_certified_line(norris: Norris) -> None:
    planned = np.stack([norris.x, np.zeros_like(norris.x)], axis=1)
    built = np.stack([norris.x, norris.y], axis=1)
    line = fit_column_line(planned, built, (1.0, 0.0))
    assert line.slope == pytest.approx(norris.b1, rel=1e-13)
    # the line counts from its first group
    at_zero = line.shift_mm - line.slope * norris.x[0]
    assert at_zero == pytest.approx(norris.b0, rel=1e-11)
    rest = np.sqrt(np.sum(line.deviation_mm**2) / (norris.x.size - 2))
    assert rest == pytest.approx(norris.residual_sd, rel=1e-12)


# ---- a line through the origin ------------------------------------------------------


def through_origin(x: np.ndarray, y: np.ndarray) -> LevelNetworkAdjustment:
    nowhere = np.zeros(x.size, dtype=int)
    return adjust_height_differences(nowhere, nowhere + 1, y / x, x**2, {0: 0.0})


def test_noint1_as_a_level_net_of_one_unknown() -> None:
    # certified (second-hand): b1 2.07438016528926, its sd 0.0165289256198347
    found = through_origin(np.arange(60.0, 71.0), np.arange(130.0, 141.0))
    assert found.height[1] == pytest.approx(2.07438016528926, rel=1e-14)
    sd = found.reference_sigma * found.sigma[1]
    assert sd == pytest.approx(0.0165289256198347, rel=1e-13)


def test_noint2_as_a_level_net_of_one_unknown() -> None:
    # certified (second-hand): b1 0.727272727272727
    found = through_origin(np.array([4.0, 5.0, 6.0]), np.array([3.0, 4.0, 4.0]))
    assert found.height[1] == pytest.approx(0.727272727272727, rel=1e-14)


# ---- points read again and again ----------------------------------------------------


@dataclass(frozen=True)
class Anova:
    """Treatments from 1, responses as typed, and lines 41 to 47: what is certified."""

    treatment: np.ndarray
    response: tuple[Decimal, ...]
    between: float  # sum of squares
    within: float
    residual_sd: float


def anova(name: str) -> Anova:
    lines = lines_of("nist_anova", name)
    rows = [line.split() for line in lines[60:] if line.strip()]
    certified = dict(_certified(lines[38:48]))
    return Anova(
        treatment=np.array([row[0] for row in rows], dtype=float).astype(int),
        response=tuple(Decimal(row[1]) for row in rows),
        between=certified["Between"][1],
        within=certified["Within"][1],
        residual_sd=certified["Standard"][0],
    )


def _certified(lines: list[str]) -> Iterator[tuple[str, list[float]]]:
    """Numbers behind the first word of a line; the words between them are passed."""
    for line in lines:
        first, *rest = line.split() or [""]
        yield first, [float(each) for each in rest if each[0].isdigit()]


def by_net(data: Anova, origin: Decimal) -> LevelNetworkAdjustment:
    above = np.array([float(each - origin) for each in data.response])
    benchmark = np.zeros(above.size, dtype=int)
    return adjust_height_differences(benchmark, data.treatment, above, 1.0, {0: 0.0})


def between(data: Anova, found: LevelNetworkAdjustment) -> float:
    times = np.bincount(data.treatment)[1:]
    heights = found.height[1:] - np.average(found.height[1:], weights=times)
    return float(times @ heights**2)


# digits that agree, fewer where more leading digits are all the same
LOWER = ["SiRstv", "SmLs01", "SmLs02", "SmLs03"]  # up to 3 constant digits
AVERAGE = ["AtmWtAg", "SmLs04", "SmLs05", "SmLs06"]  # 7 of them
HIGHER = ["SmLs07", "SmLs08", "SmLs09"]  # 13 of them


@pytest.mark.parametrize(
    ("name", "rel"),
    [*((name, 1e-11) for name in LOWER), *((name, 1e-6) for name in AVERAGE)],
)
def test_repeated_readings_as_they_are(name: str, rel: float) -> None:
    data = anova(name)
    found = by_net(data, Decimal(0))
    assert found.degrees_of_freedom == len(data.response) - data.treatment.max()
    assert found.reference_sigma == pytest.approx(data.residual_sd, rel=rel)
    assert between(data, found) == pytest.approx(data.between, rel=rel)


@pytest.mark.parametrize("name", [*LOWER, *AVERAGE, *HIGHER])
def test_repeated_readings_from_a_near_benchmark(name: str) -> None:
    # house rule: reduce to a local origin first, in decimals; then all agree
    data = anova(name)
    found = by_net(data, data.response[0])
    assert found.reference_sigma == pytest.approx(data.residual_sd, rel=1e-12)
    assert between(data, found) == pytest.approx(data.between, rel=1e-11)
    inside = found.reference_sigma**2 * found.degrees_of_freedom
    assert inside == pytest.approx(data.within, rel=1e-12)
