"""Lengths as crews write them, and every other quantity with its unit."""

import math
import subprocess
import sys
from contextlib import suppress
from decimal import Decimal
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from core.quantities import (
    parse_angle,
    parse_area,
    parse_force,
    parse_line_weight,
    parse_modulus,
    parse_strength,
    parse_strength_resolution,
    parse_temperature,
)
from core.units import (
    LengthStyle,
    UnitError,
    format_against_limit,
    format_length,
    parse_length,
)

READ = {
    "31' 7 1/2\"": "9639.3",
    "31'-7 1/2\"": "9639.3",
    "31'-1/2\"": "9461.5",
    "31 ft 7.5 in": "9639.3",
    "31ft-7in": "9626.6",
    "31'7\"": "9626.6",
    "31'- 7\"": "9626.6",
    '4 1/2"': "114.3",
    "7.125 m": "7125",
    "7125 mm": "7125",
    "712.5cm": "7125",
    "5/8 in": "15.875",
    '.5"': "12.7",
    "31'": "9448.8",
    "31.5 ft": "9601.2",
    '-2"': "-50.8",
    '+2"': "50.8",
    "-31'-7 1/2\"": "-9639.3",
    '0"': "0",
    "-0'-1/2\"": "-12.7",
    '  4"  ': "101.6",
    '1/64"': "0.396875",
    "10000 m": "10000000",
    "-10 m": "-10000",
    # typographic marks read the same
    "31\u2032-7 1\u20442\u2033": "9639.3",
    "31\u2019 7\u00bd\u201d": "9639.3",
    "31\u2032\u00a07\u00a0\u00bd\u2033": "9639.3",
    "31\u2032\u202f7\u2033": "9626.6",
    "\u215b\u2033": "3.175",
    "4\u215e in": "123.825",
    "\u22124 1\u20442\u2033": "-114.3",
    "31\u2032\u20117\u2033": "9626.6",
}

REFUSED = {
    "31' 14\"": "must be under 12",
    "31' 12\"": "must be under 12",
    '4 9/8"': "not less than 1",
    '8/8"': "not less than 1",
    '41/2"': "not less than 1",
    '\u00bd6"': "not a length",
    '4\u00bd6"': "not a length",
    "\u00bc0'": "not a length",
    '\u00bd 6"': "not a length",
    "31' -7\"": "at the very front",
    "31' - 7\"": "at the very front",
    "31'--7\"": "at the very front",
    "31'-7-1/2\"": "hyphen only separates",
    '4-1/2"': "hyphen",
    '--4"': "very front",
    '+-4"': "very front",
    '- 4"': "very front",
    '4"-': "not a length",
    "12": "no unit",
    "4 1/2": "no unit",
    "0": "no unit",
    "31' 7": "no inch mark",
    "31'-7 1/2": "no inch mark",
    "31.5' 4\"": "whole number",
    "31 1/2' 4\"": "whole number",
    '1/0"': "denominator is zero",
    '4.5 1/2"': "not a length",
    "1,200 mm": "use a decimal point",
    "7,125 m": "use a decimal point",
    "1/2 m": "written as decimals",
    "1e3 mm": "not a length",
    "7 m 125 mm": "not a length",
    "5 yd": "not a length",
    "5. in": "not a length",
    "4 in.": "not a length",
    '4\n"': "not a length",
    "\u0663 mm": "not a length",  # an Arabic-Indic digit three
    '\u00bd\u00bd"': "not a length",
    "": "the text is empty",
    "   ": "the text is empty",
    "-": "the text is empty",
    "NaN": "finite",
    "inf mm": "finite",
    "-Infinity m": "finite",
    "10000.001 m": "longer than 10 km",
    "-10001 m": "longer than 10 km",
    "32808' 5\"": "longer than 10 km",
    "9" * 70 + " mm": "too long",
}


@pytest.mark.parametrize(("text", "mm"), READ.items())
def test_a_length_is_read_exactly_as_it_is_written(text, mm):
    assert parse_length(text).mm == Decimal(mm)


@pytest.mark.parametrize(("text", "reason"), REFUSED.items())
def test_what_could_be_misread_is_refused_with_the_reason(text, reason):
    with pytest.raises(UnitError, match=reason):
        parse_length(text)


@pytest.mark.parametrize("text", REFUSED)
def test_a_default_unit_never_rescues_text(text):
    with pytest.raises(UnitError):
        parse_length(text, "in")


@pytest.mark.parametrize(
    "value",
    [True, False, None, [], {}, b"4 in", float("nan"), float("inf"), Decimal("NaN")],
)
def test_what_is_no_number_is_no_length(value):
    with pytest.raises(UnitError):
        parse_length(value, "in")


@pytest.mark.parametrize("value", [10**400, -(10**8), 1e300, Decimal("1E+999999")])
def test_a_bare_number_over_ten_kilometres_is_refused(value):
    with pytest.raises(UnitError, match="10 km"):
        parse_length(value, "mm")


@pytest.mark.parametrize("value", [5e-324, Decimal("1E-999999")])
def test_a_vanishing_number_is_zero(value):
    assert parse_length(value, "m").mm == 0


def test_a_bare_number_needs_a_unit():
    with pytest.raises(UnitError, match="no unit"):
        parse_length(4)


def test_a_bare_number_takes_the_unit_given():
    read = {unit: parse_length(4.5, unit).mm for unit in ("in", "ft", "mm", "cm", "m")}
    assert read == {
        "in": Decimal("114.3"),
        "ft": Decimal("1371.6"),
        "mm": Decimal("4.5"),
        "cm": Decimal(45),
        "m": Decimal(4500),
    }


def test_a_whole_number_is_the_same_length_however_json_wrote_it():
    assert parse_length(4.0, "mm") == parse_length(4, "mm")


def test_a_length_is_rounded_once_to_six_decimals():
    # 1/3 in = 8.466666... mm; 393.700787 in = 9999.9999898 mm
    assert parse_length('1/3"').mm == Decimal("8.466667")
    assert parse_length("393.700787 in").mm == Decimal("9999.999990")
    assert parse_length("0.0000005 mm").mm == Decimal("0.000000")  # half to even
    assert parse_length("0.0000015 mm").mm == Decimal("0.000002")


@pytest.mark.parametrize(
    ("text", "mm"),
    [
        ('4 1/2"', "3.175"),  # a half off a sixteenth tape is 8/16
        ('4 1/8"', "3.175"),
        ('4 1/16"', "1.5875"),
        ("31'-7 1/32\"", "0.79375"),
        ("31'", "3.175"),
        ("31 ft 7.5 in", "2.54"),
        ("4.25 ft", "3.048"),
        ("7.125 m", "1"),
        ("7.1 m", "3.175"),
        ("7125 mm", "1"),
        ("7125.5 mm", "0.1"),
    ],
)
def test_resolution_is_the_last_figure_typed_but_not_coarser_than_an_eighth(text, mm):
    assert parse_length(text).resolution_mm == Decimal(mm)


def test_the_text_is_kept_as_typed():
    assert parse_length(" 31\u2032-7\u00bd\u2033 ").text == "31\u2032-7\u00bd\u2033"
    assert parse_length(4.5, "in").text == "4.5 in"


# ---- formatting ----


@pytest.mark.parametrize(
    ("mm", "shown"),
    [
        (9639.3, "31\u2032-7 1\u20442\u2033"),
        (9448.8, "31\u2032-0\u2033"),
        (9461.5, "31\u2032-0 1\u20442\u2033"),
        (114.3, "4 1\u20442\u2033"),
        (12.7, "1\u20442\u2033"),
        (0.0, "0\u2033"),
        (-0.0, "0\u2033"),
        (-0.3, "0\u2033"),  # no minus zero
        (-114.3, "\u22124 1\u20442\u2033"),
        (-9639.3, "\u221231\u2032-7 1\u20442\u2033"),
        (304.7, "1\u2032-0\u2033"),  # 11 255/256 in carries into the feet
        (303.2125, "11 15\u204416\u2033"),
        (304.00625, "1\u2032-0\u2033"),  # half a sixteenth rounds away
        (25.3, "1\u2033"),
        (609.59, "2\u2032-0\u2033"),
    ],
)
def test_feet_inches_and_fractions_are_set_as_a_person_writes_them(mm, shown):
    assert format_length(mm) == shown


def test_the_other_styles():
    assert format_length(9639.3, "inches") == "379 1\u20442\u2033"
    assert format_length(9639.3, "decimal_feet") == "31.625 ft"
    assert format_length(9639.3, "metric") == "9639.3 mm"
    assert format_length(-1.26, "metric") == "\u22121.3 mm"
    assert format_length(-0.04, "metric") == "0.0 mm"
    assert format_length(304.79999, "decimal_feet") == "1.000 ft"


def test_the_finest_fraction_can_be_chosen():
    assert format_length(0.396875, denominator=64) == "1\u204464\u2033"
    assert format_length(0.396875, denominator=8) == "0\u2033"


def test_a_length_that_is_no_number_is_not_shown():
    with pytest.raises(UnitError):
        format_length(float("nan"))
    with pytest.raises(ValueError, match="metric"):
        format_length(1.0, "furlongs")


@given(st.integers(-(10_000_000 * 1000) // 397, 10_000_000 * 1000 // 397))
def test_what_is_shown_in_sixty_fourths_reads_back_exactly(count):
    mm = Decimal(count) * Decimal("0.396875")
    for style in ("imperial", "inches"):
        assert parse_length(format_length(mm, style, 64)).mm == mm


@given(st.decimals(-9_999_999, 9_999_999, places=1))
def test_what_is_shown_in_millimetres_reads_back_exactly(mm):
    assert parse_length(format_length(mm, "metric")).mm == mm


@given(
    feet=st.integers(0, 30000),
    inches=st.integers(0, 11),
    numerator=st.integers(0, 63),
)
def test_every_way_to_write_one_length_reads_the_same(feet, inches, numerator):
    exact = feet * 12 + inches + Fraction(numerator, 64)
    decimal = Decimal(numerator) / 64 + inches
    ways = {
        parse_length(f"{feet}'-{inches} {numerator}/64\"").mm,
        parse_length(f"{feet} ft {decimal} in").mm,
        parse_length(f'{Decimal(feet * 12) + decimal}"').mm,
        parse_length(f"{(Decimal(feet * 12) + decimal) * Decimal('25.4')} mm").mm,
        parse_length(Decimal(feet * 12) + decimal, "in").mm,
        parse_length(float(feet * 12 + decimal), "in").mm,
    }
    assert ways == {Decimal(round(exact * Fraction("25.4") * 10**6)).scaleb(-6)}


@given(st.text(max_size=20))
def test_any_text_is_read_or_refused_and_nothing_else_happens(text):
    with suppress(UnitError):
        assert abs(parse_length(text).mm) <= 10_000_000


@given(st.text(alphabet="0123456789 /.-+'\"ftinm", max_size=14))
def test_nearly_a_length_is_read_or_refused_and_nothing_else_happens(text):
    try:
        read = parse_length(text)
    except UnitError:
        return
    assert parse_length(read.text) == read


# ---- other quantities ----


@pytest.mark.parametrize(
    ("parse", "text", "value"),
    [
        # NIST SP 811 (2008), B.8: 1 psi = 6.894757e3 Pa, 1 lbf = 4.448222 N
        (parse_strength, "1000 psi", 6.894757),
        (parse_strength, "3 ksi", 20.684271),
        (parse_strength, "20.7 MPa", 20.7),
        (parse_strength, "20.7 N/mm^2", 20.7),
        (parse_strength, "20.7 N/mm\u00b2", 20.7),
        (parse_force, "12 lbf", 53.378664),
        (parse_force, "50 N", 50.0),
        (parse_temperature, "41 degF", 5.0),
        (parse_temperature, "-40 degF", -40.0),
        (parse_temperature, "5 degC", 5.0),
        (parse_temperature, "5 \u00b0C", 5.0),
        (parse_temperature, "\u22125 degC", -5.0),
        (parse_temperature, "293.15 K", 20.0),
        (parse_angle, "90 deg", 1.5707963267948966),
        (parse_angle, "-1.5 rad", -1.5),
        (parse_area, "2.5 mm^2", 2.5),
        (parse_area, "1 in^2", 645.16),
        (parse_modulus, "205 GPa", 205000.0),
        (parse_line_weight, "0.19 N/m", 0.19),
        (parse_line_weight, "1 lbf/ft", 14.593903),
    ],
)
def test_a_quantity_is_converted_from_its_unit(parse, text, value):
    assert parse(text) == pytest.approx(value, rel=2e-7)


@pytest.mark.parametrize(
    ("parse", "value"),
    [
        (parse_strength, "3000"),
        (parse_strength, 3000),
        (parse_strength, True),
        (parse_strength, None),
        (parse_strength, "3000 lb"),
        (parse_strength, "3000 psi psi"),
        (parse_strength, "nan psi"),
        (parse_strength, "inf MPa"),
        (parse_strength, "2**99999 psi"),
        (parse_strength, "1 zzz"),
        (parse_strength, "3 000 psi"),
        (parse_temperature, "41 F"),  # farads
        (parse_temperature, "-400 degC"),
        (parse_temperature, "5 delta_degC"),
        (parse_force, "12 lb"),
        (parse_angle, "90"),
        (parse_angle, "5 percent"),
        (parse_angle, "5 count"),
        (parse_line_weight, "1 kg/m"),
        (parse_area, "2.5 mm"),
    ],
)
def test_another_kind_of_quantity_is_refused(parse, value):
    with pytest.raises(UnitError):
        parse(value)


def test_the_resolution_of_a_strength_is_its_last_figure():
    assert parse_strength_resolution("3000 psi") == pytest.approx(0.006894757)
    assert parse_strength_resolution("20.75 MPa") == pytest.approx(0.01)


def test_lengths_are_read_without_the_unit_library():
    program = (
        "import sys; from core.quantities import parse_force;"
        "from core.units import parse_length;"
        "parse_length('4 in'); assert 'pint' not in sys.modules;"
        "parse_force('5 N'); assert 'pint' in sys.modules"
    )
    subprocess.run([sys.executable, "-c", program], check=True)


@pytest.mark.parametrize(
    ("mm", "style", "denominator", "text"),
    [
        (3.175, "imperial", 16, "1\u20448\u2033"),  # on the limit
        (3.175 + 5e-7, "imperial", 16, "1\u20448\u2033"),  # within its slack
        (3.9, "imperial", 16, "5\u204432\u2033"),  # a finer fraction shows it
        (3.5, "imperial", 32, "9\u204464\u2033"),
        (3.18, "imperial", 32, "just over 1\u20448\u2033"),
        (-3.18, "imperial", 32, "just over \u22121\u20448\u2033"),
        (3.18, "metric", 32, "just over 3.2 mm"),
        (3.3, "metric", 32, "3.3 mm"),
        (3.1, "imperial", 32, "1\u20448\u2033"),  # within: as always
    ],
)
def test_an_amount_beyond_its_limit_never_reads_as_equal_to_it(
    mm: float, style: LengthStyle, denominator: int, text: str
) -> None:
    assert format_against_limit(mm, 3.175, style, denominator) == text


@pytest.mark.parametrize("limit", [None, math.inf, math.nan])
def test_without_a_limit_an_amount_reads_as_always(limit: float | None) -> None:
    text = format_length(3.18, "imperial", 32)
    assert format_against_limit(3.18, limit, "imperial", 32) == text
