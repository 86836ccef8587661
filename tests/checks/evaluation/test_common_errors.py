"""Errors that readings of one tape, and of one day, have in common."""

from datetime import UTC, datetime, timedelta

import numpy as np

from checks.evaluation.check_table import CheckTable
from checks.evaluation.common_errors import (
    CommonError,
    CommonErrorKind,
    group_working_days,
)
from checks.evaluation.reduce_readings import Observations, reduce_readings
from jobs.anchor_plan.values import ReadingValue
from jobs.exchange.input.parser import parse_building
from tests.published.contract import LENGTH, building, read

FIVE_O_CLOCK = datetime(2026, 3, 9, 23, 0, tzinfo=UTC)  # in the afternoon, somewhere


def observe(document: dict[str, object]) -> tuple[CheckTable, Observations]:
    given = parse_building(document)
    table = CheckTable(given)
    return table, reduce_readings(given, table)


def make_reading(hours: float | None) -> ReadingValue:
    at = None if hours is None else FIVE_O_CLOCK + timedelta(hours=hours)
    return ReadingValue(
        id="r", check="wall:A-B", value=1.0, text="1", resolution=1.0, at=at
    )


def test_an_afternoon_that_passes_midnight_in_utc_is_one_day():
    day, names = group_working_days(
        [make_reading(14.0), make_reading(2.0), make_reading(-5.0), make_reading(0.0)]
    )
    assert day.tolist() == [1, 0, 0, 0]
    assert names == ["2026-03-09", "2026-03-10"]


def test_readings_without_a_time_are_taken_as_one_day():
    day, names = group_working_days(
        [make_reading(None), make_reading(0.0), make_reading(None)]
    )
    assert day.tolist() == [0, 1, 0]
    assert names == ["", "2026-03-09"]


def test_total_uncertainty_is_its_own_and_its_common_part():
    document = building()
    for key, value in (("wall:A-B", LENGTH), ("line:S", 8000), ("offset:S.1", -60)):
        read(document, key, value)
    _, seen = observe(document)
    rows = np.flatnonzero(seen.count)
    total = seen.independent**2 + (seen.common**2).sum(axis=1)
    np.testing.assert_allclose(seen.uncertainty[rows] ** 2, total[rows])
    np.testing.assert_allclose(
        np.diag(seen.covariance(rows)), seen.uncertainty[rows] ** 2
    )
    assert not seen.common[seen.count == 0].any()
    assert np.isnan(seen.independent[seen.count == 0]).all()


def test_one_tape_and_each_day_are_an_error_of_their_own():
    document = building()
    read(document, "wall:A-B", LENGTH, instrument="T", at="2026-03-09T14:00:00Z")
    read(document, "wall:C-D", LENGTH, instrument="T", at="2026-03-10T14:00:00Z")
    read(document, "wall:B-C", 15000, at="2026-03-10T15:00:00Z")
    read(document, "wall:D-A", 15000, temperature="20 degC")
    table, seen = observe(document)
    assert seen.common_errors == (
        CommonError(CommonErrorKind.TAPE, ""),
        CommonError(CommonErrorKind.TAPE, "T"),
        CommonError(CommonErrorKind.DAY, "2026-03-09"),
        CommonError(CommonErrorKind.DAY, "2026-03-10"),
    )
    loads = seen.common[[table.index[f"wall:{w}"] for w in ("A-B", "C-D", "B-C")]] > 0
    assert loads.tolist() == [
        [False, True, True, False],
        [False, True, False, True],
        [True, False, False, True],
    ]


def test_a_line_from_the_second_corner_shares_the_error_the_other_way():
    document = read(building(), "line:S", LENGTH - 8000, **{"from": "B"})
    read(document, "line:N", 9000)
    read(document, "offset:S.1", -60)
    table, seen = observe(document)
    from_second, from_first, left = (
        seen.common[table.index[key]] for key in ("line:S", "line:N", "offset:S.1")
    )
    assert (from_second < 0).all()
    assert (from_first > 0).all()
    assert (left < 0).all()


def test_neighbouring_lines_read_from_one_corner_differ_by_little():
    # a bay of 20 ft, its lines at 30 and 50 ft, class II, no temperature noted
    document = building()
    at = [30 * 304.8, 50 * 304.8]
    document["positions"] = [
        {"mark": mark, "wall": "A-B", "along": f"{along} mm", "detail": "Q"}
        for mark, along in zip("ST", at, strict=True)
    ]
    for mark, along in zip("ST", at, strict=True):
        read(document, f"line:{mark}", f"{along} mm")
    table, seen = observe(document)
    rows = np.array([table.index["line:S"], table.index["line:T"]])
    difference = np.array([-1.0, 1.0])
    common = difference @ seen.common[rows]
    own = seen.independent[rows]
    np.testing.assert_allclose(
        difference @ seen.covariance(rows) @ difference, common @ common + own @ own
    )
    assert np.abs(common).max() < 0.75  # of six metres, not of fifteen
    assert seen.uncertainty[rows].min() > 1.9
