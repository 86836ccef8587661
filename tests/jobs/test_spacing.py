import pytest

from core.units import UnitError
from jobs.spacing import must_fill, typed_length, typed_spacing


def millimetres(lengths):
    return [float(length.mm) for length in lengths]


def test_repeated_bays_are_spelled_out_in_their_order():
    assert millimetres(typed_spacing("20', 3 @ 25', 18' 6\"", "ft")) == [
        6096.0,
        7620.0,
        7620.0,
        7620.0,
        5638.8,
    ]


@pytest.mark.parametrize(
    ("text", "unit", "expected"),
    [
        ("25", "ft", 7620.0),
        ("7.5", "m", 7500.0),
        ("4 1/2", "in", 114.3),
        ('4 1/2"', "m", 114.3),
        (".5", "m", 500.0),
    ],
)
def test_a_bare_number_is_in_the_unit_of_the_form(text, unit, expected):
    assert float(typed_length(text, unit).mm) == pytest.approx(expected, abs=1e-9)


def test_the_space_that_is_wrong_is_named_with_what_would_be_right():
    with pytest.raises(UnitError, match=r"Space 2: .*23'-4 1/2"):
        typed_spacing("20', banana", "ft")


@pytest.mark.parametrize("text", ["", " , ;", "0 @ 25'", "3 @ 0'", "-5'", "9999 @ 1'"])
def test_spaces_that_cannot_be_built_are_refused(text):
    with pytest.raises(UnitError):
        typed_spacing(text, "ft")


def test_spaces_that_miss_the_length_say_by_how_much():
    spaces = typed_spacing("3 @ 25'", "ft")
    with pytest.raises(
        UnitError, match=r"75′-0″, 5′-0″ less than the length of 80′-0″"
    ):
        must_fill(spaces, typed_length("80", "ft"), "ft", "length")


def test_thirds_of_a_metre_written_to_the_millimetre_still_miss():
    spaces = typed_spacing("3 @ 3.333 m", "m")
    with pytest.raises(UnitError, match="less than the width"):
        must_fill(spaces, typed_length("10", "m"), "m", "width")
