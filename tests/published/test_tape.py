"""Tape corrections against published worked examples and a real certificate.

Marks: [S2] seen in a secondary place, [M hi] remembered with high confidence,
[C] computed again from the inputs.
"""

import numpy as np
import pytest

from checks.engine.tape import correct_lengths, lay_out, normal_tension

FOOT = 304.8
POUND = 4.4482216152605
KILOGRAM = 9.80665
PSI = POUND / 25.4**2
FAHRENHEIT = 1 / 1.8


def degrees_c(fahrenheit):
    return (fahrenheit - 32.0) / 1.8


def test_course_example_temperature():
    # Course slides, slideplayer.com/13085605: 368.50 ft at 22 °F, 6.5e-6 per °F:
    # published -0.11 ft, 368.39 ft [S2]; -0.1102 [C].
    found = correct_lengths(
        np.array([368.50 * FOOT]),
        temperature_c=degrees_c(22.0),
        standard_temperature_c=20.0,
        expansion=6.5e-6 / FAHRENHEIT,
    )
    assert found.temperature_mm[0] / FOOT == pytest.approx(-0.1102, abs=5e-5)
    assert 368.50 + found.total_mm[0] / FOOT == pytest.approx(368.39, abs=0.005)


@pytest.mark.parametrize(
    ("pull_lb", "published_ft", "again_ft"),
    [(12, -0.71, -0.7068), (18, -0.31, -0.3142)],
)
def test_course_example_sag_with_a_last_partial_span(pull_lb, published_ft, again_ft):
    # Same slides: 348.75 ft, 100 ft tape of 2.8 lb supported at its ends:
    # three whole spans and one of 48.75 ft [S2]; four decimals [C].
    found = correct_lengths(
        np.array([348.75 * FOOT]),
        tension_n=pull_lb * POUND,
        weight_n_per_m=2.8 * POUND / (0.1 * FOOT),
        span_mm=100 * FOOT,
    )
    assert found.sag_mm[0] / FOOT == pytest.approx(published_ft, abs=0.005)
    assert found.sag_mm[0] / FOOT == pytest.approx(again_ft, abs=5e-5)


def test_course_example_tension():
    # Same slides: 100 ft, 18 against 12 lb, 0.015 in², 29e6 psi: +0.0014 ft [S2].
    found = correct_lengths(
        np.array([100 * FOOT]),
        tension_n=18 * POUND,
        standard_tension_n=12 * POUND,
        cross_section_mm2=0.015 * 25.4**2,
        modulus_mpa=29e6 * PSI,
    )
    assert found.tension_mm[0] / FOOT == pytest.approx(0.0014, abs=5e-5)
    assert found.tension_mm[0] / FOOT == pytest.approx(0.00138, abs=5e-6)


def test_course_example_slope():
    # Same slides: 300 ft, rise 26.15 ft: 1.14 ft, 298.86 ft [S2]; exactly
    # sqrt(300² - 26.15²) = 298.858 [C] (1.1397 is the first term of the series).
    found = correct_lengths(np.array([300 * FOOT]), slope_rise_mm=26.15 * FOOT)
    assert 300 + found.slope_mm[0] / FOOT == pytest.approx(298.86, abs=0.005)
    exact = np.sqrt(300**2 - 26.15**2)
    assert 300 + found.total_mm[0] / FOOT == pytest.approx(exact, abs=1e-12)


def test_course_example_tape_too_long():
    # Same slides: 500 ft read with a 100 ft tape that is 100.02 ft: 500.10 ft [S2].
    tape = {"nominal_length_mm": 100 * FOOT, "actual_length_mm": 100.02 * FOOT}
    measured = correct_lengths(np.array([500 * FOOT]), **tape)
    assert 500 + measured.total_mm[0] / FOOT == pytest.approx(500.10, abs=1e-9)
    # Laying 500 ft out takes the other sign: 500 / 1.0002 = 499.900 [C].
    marked = lay_out(np.array([500 * FOOT]), **tape)
    assert 500 + marked.total_mm[0] / FOOT == pytest.approx(500 / 1.0002, abs=1e-9)


def test_tape_makers_examples():
    # A tape maker's technical page, m.liontapemeasure.com [S2]: 36 m at 10 °C with
    # 1.15e-5: -4.14 mm; 50 -> 100 N, 205 800 N/mm², 2.52 mm²: +3.47 mm;
    # 0.194 N/m over one 36 m span at 100 N: -7.32 mm (-7.316 [C]).
    found = correct_lengths(
        np.array([36_000.0]),
        temperature_c=10.0,
        standard_temperature_c=20.0,
        tension_n=100.0,
        standard_tension_n=50.0,
        cross_section_mm2=2.52,
        modulus_mpa=205_800.0,
        weight_n_per_m=0.194,
        span_mm=36_000.0,
        expansion=1.15e-5,
    )
    assert found.temperature_mm[0] == pytest.approx(-4.14, abs=0.005)
    assert found.tension_mm[0] == pytest.approx(3.471, abs=0.0005)
    assert found.sag_mm[0] == pytest.approx(-7.316, abs=0.0005)


def test_textbook_example_in_three_lengths():
    # Ghilani and Wolf, Elementary Surveying, Ex. 6.1 [M hi], computed again [C]:
    # 30.012 m tape; 30 + 30 + 21.151 m at 14, 15, 16 °C; 9.09 kg (standard 5.45);
    # 0.050 cm²; 0.03967 kg/m; 2e6 kg/cm²; answers in m, total 81.131.
    found = correct_lengths(
        np.array([30_000.0, 30_000.0, 21_151.0]),
        temperature_c=np.array([14.0, 15.0, 16.0]),
        standard_temperature_c=20.0,
        tension_n=9.09 * KILOGRAM,
        standard_tension_n=5.45 * KILOGRAM,
        cross_section_mm2=5.0,
        modulus_mpa=2e6 * KILOGRAM / 100,
        weight_n_per_m=0.03967 * KILOGRAM,
        span_mm=30_000.0,
        nominal_length_mm=30_000.0,
        actual_length_mm=30_012.0,
    )
    assert found.standardisation_mm.sum() == pytest.approx(32.5, abs=0.05)
    assert found.temperature_mm.sum() == pytest.approx(-4.8, abs=0.05)
    assert found.tension_mm.sum() == pytest.approx(3.0, abs=0.05)
    assert found.sag_mm.sum() == pytest.approx(-50.4, abs=0.05)
    assert 81_151.0 + found.total_mm.sum() == pytest.approx(81_131.2, abs=0.05)


def test_textbook_example_with_the_tape_weighed():
    # Punmia, 20 m tape (inputs seen, result [M hi]): 0.8 kg, 16 against 10 kg,
    # 25 °C warmer, 6.2e-6, density 7.86 g/cm³, 2.109e6 kg/cm²:
    # +.00310 +.00112 -.00208 = +.00213 m [C]; published +0.00214.
    area_cm2 = 800.0 / 7.86 / 2000.0
    found = correct_lengths(
        np.array([20_000.0]),
        temperature_c=45.0,
        standard_temperature_c=20.0,
        tension_n=16 * KILOGRAM,
        standard_tension_n=10 * KILOGRAM,
        cross_section_mm2=area_cm2 * 100,
        modulus_mpa=2.109e6 * KILOGRAM / 100,
        weight_n_per_m=0.04 * KILOGRAM,
        span_mm=20_000.0,
        expansion=6.2e-6,
    )
    assert found.temperature_mm[0] == pytest.approx(3.10, abs=0.005)
    assert found.tension_mm[0] == pytest.approx(1.12, abs=0.005)
    assert found.sag_mm[0] == pytest.approx(-2.08, abs=0.005)
    assert found.total_mm[0] == pytest.approx(2.13, abs=0.01)


def test_course_note_slope():
    # civilnoteppt [S2]: 30 m, rise 0.70 m: -0.00817 m, 29.99183 m.
    found = correct_lengths(np.array([30_000.0]), slope_rise_mm=700.0)
    assert found.slope_mm[0] == pytest.approx(-8.17, abs=0.005)


def test_pull_that_stretches_a_length_by_a_known_amount():
    # scribd 521202188 [S2]: 318 m, 0.05 cm², standard 5.5 kg, 2.10e6 kg/cm²,
    # corrected 318.012 m: the pull is 9.46 kg.
    found = correct_lengths(
        np.array([318_000.0]),
        tension_n=9.46 * KILOGRAM,
        standard_tension_n=5.5 * KILOGRAM,
        cross_section_mm2=5.0,
        modulus_mpa=2.10e6 * KILOGRAM / 100,
    )
    assert found.total_mm[0] == pytest.approx(12.0, abs=0.01)


def test_calibration_certificate_of_a_100_ft_tape():
    # NIST certificate posted at rpls.com/forums/strictly-surveying/
    # 100-foot-tape-calibration [S2]. Only AE = 105 708 lb and w = 0.012747 lb/ft
    # were fitted [C]; the first row is the base. Every row within 0.0002 ft.
    fahrenheit = np.array([68.0, 61.0, 54.0, 68.0, 68.0, 68.0, 68.0])
    pull = np.array([10.0, 10.0, 15.0, 10.0, 15.0, 20.0, 25.0])
    flat = np.array([True, True, True, False, False, False, False])
    certificate = np.array(
        [100.0045, 100.0000, 100.0002, 99.9368, 99.9791, 99.9969, 100.0077]
    )
    length = np.full(7, 100 * FOOT)
    found = correct_lengths(
        length,
        temperature_c=degrees_c(fahrenheit),
        standard_temperature_c=20.0,
        tension_n=pull * POUND,
        standard_tension_n=10 * POUND,
        cross_section_mm2=1.0,
        modulus_mpa=105_708 * POUND,
        weight_n_per_m=0.012747 * POUND / (FOOT / 1000),
        span_mm=np.where(flat, np.nan, 100 * FOOT),
        nominal_length_mm=100 * FOOT,
        actual_length_mm=100.0045 * FOOT,
        expansion=6.45e-6 / FAHRENHEIT,
    )
    np.testing.assert_allclose((length + found.total_mm) / FOOT, certificate, atol=2e-4)


def test_normal_tension_of_the_certified_tape_cancels_stretch_and_sag():
    # With the two fitted values above, stretch and sag of that tape on two points
    # cancel; between 20 lb (certificate 99.9969) and 25 lb (100.0077), base 100.0045.
    pull = normal_tension(
        np.array([100 * FOOT]),
        standard_tension_n=10 * POUND,
        cross_section_mm2=1.0,
        modulus_mpa=105_708 * POUND,
        weight_n_per_m=0.012747 * POUND / (FOOT / 1000),
        span_mm=100 * FOOT,
    )
    assert 20 < pull[0] / POUND < 25
