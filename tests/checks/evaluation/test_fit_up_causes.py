"""One cause, one finding: a misfit that another finding explains is listed there."""

import pytest

from tests.checks.evaluation.test_fit_up import hall, read_group, stacked
from tests.published.contract import (
    INCH,
    confirm,
    evaluate_document,
    finding,
    read,
    topics,
)

EIGHTH = INCH / 8
MARKS = ("S2", "S3", "N2", "N3")


def hall_with_lines_off(**off: float):
    """Every position on plan but for these lines, each read by two people. [mm]"""
    document = hall('15/16"')
    for mark in MARKS:
        read_group(document, mark, line=off.get(mark, 0.0))
    return confirm(document)


def move_line(document, mark: str, mm: float) -> None:
    """Read a line this much larger. [mm]"""
    for each in document["readings"]:
        if each["check"] == f"line:{mark}":
            each["value"] += mm


@pytest.mark.parametrize("off", [8.0, 9.0, -9.0, 12.0])
def test_a_column_line_out_of_place_is_one_finding(off):
    result = evaluate_document(hall_with_lines_off(S2=off))
    assert result["fit_up"]["misfit"] > 0.0
    assert topics(result) == ["position:S2"]
    assert finding(result, "position:S2")["consequences"] == ["fit_up"]


def test_two_lines_that_explain_a_misfit_together_both_list_it():
    result = evaluate_document(hall_with_lines_off(S2=9.0, N2=9.0))
    assert result["fit_up"]["misfit"] > 0.0
    assert topics(result) == ["position:S2", "position:N2"]
    for topic in topics(result):
        assert finding(result, topic)["consequences"] == ["fit_up"]


def test_a_misfit_that_stays_with_the_line_set_right_is_a_finding():
    document = stacked()
    move_line(document, "N2", 9.0)
    result = evaluate_document(confirm(document))
    assert topics(result) == ["position:N2", "fit_up"]
    assert finding(result, "position:N2")["consequences"] == []


def test_a_column_to_be_shifted_within_its_line_leaves_the_misfit_a_finding():
    # The plate of S2 goes on shifted; S3, an eighth off the other way, does not close
    # the bay with it. Shifting S2 changes nothing of that.
    document = hall('1"')
    read_group(document, "S2", line=EIGHTH + 0.5, along=2.0)
    read_group(document, "S3", line=-EIGHTH, along=-EIGHTH)
    read_group(document, "N2")
    read_group(document, "N3")
    result = evaluate_document(confirm(document))
    assert topics(result) == ["position:S2", "fit_up"]
    assert finding(result, "position:S2")["remedies"][0]["remedy"] == "shift"


def test_a_bay_too_short_explains_the_misfit_of_its_ends():
    # Lines and the bay itself agree: each line within, the bay a quarter inch short.
    document = stacked()
    read(document, "bay:S2-S3", 8000 - 2 * EIGHTH, temperature="20 degC")
    result = evaluate_document(confirm(document))
    assert result["fit_up"]["misfit"] > 0.0
    assert topics(result) == ["bay:S2-S3"]
    assert finding(result, "bay:S2-S3")["consequences"] == ["fit_up"]


def test_a_bay_listed_with_its_line_is_named_as_following_from_it():
    document = hall('15/16"')
    for mark in MARKS:
        read_group(document, mark, line=9.0 if mark == "S2" else 0.0)
    read(document, "bay:S2-S3", 8000 - 9.0, temperature="20 degC")
    result = evaluate_document(confirm(document))
    assert topics(result) == ["position:S2"]
    assert finding(result, "position:S2")["consequences"] == ["bay:S2-S3", "fit_up"]
