import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from checks.engine.errors import EngineError
from checks.engine.tape import correct_lengths, lay_out, normal_tension

EVERYTHING = {
    "temperature_c": 5.0,
    "standard_temperature_c": 20.0,
    "tension_n": 60.0,
    "standard_tension_n": 50.0,
    "cross_section_mm2": 2.5,
    "modulus_mpa": 205_000.0,
    "weight_n_per_m": 0.19,
    "span_mm": 10_000.0,
    "nominal_length_mm": 30_000.0,
    "actual_length_mm": 30_002.0,
}
MEMBERS = ("standardisation_mm", "temperature_mm", "tension_mm", "sag_mm", "slope_mm")


def test_worked_example_by_hand():
    found = correct_lengths(np.array([20_000.0]), slope_rise_mm=0.0, **EVERYTHING)
    # 2/30000 * 20000; 11.6e-6 * -15 * 20000; 10 * 20000 / (2.5 * 205000);
    # two spans of 10 m: 2 * (0.19 * 10)² * 10000 / (24 * 60²)
    assert found.standardisation_mm[0] == pytest.approx(4 / 3)
    assert found.temperature_mm[0] == pytest.approx(-3.48)
    assert found.tension_mm[0] == pytest.approx(0.390243902)
    assert found.sag_mm[0] == pytest.approx(-2 * 1.9**2 * 10_000 / (24 * 3600))
    assert found.slope_mm[0] == 0.0
    assert found.total_mm[0] == pytest.approx(
        sum(getattr(found, m)[0] for m in MEMBERS)
    )


def test_nothing_given_corrects_nothing():
    found = correct_lengths(np.array([20_000.0, -3.0, 0.0]))
    assert not found.total_mm.any()


@pytest.mark.parametrize(
    ("left_out", "zero"),
    [
        ("temperature_c", ["temperature_mm"]),
        ("standard_temperature_c", ["temperature_mm"]),
        ("tension_n", ["tension_mm", "sag_mm"]),
        ("standard_tension_n", ["tension_mm"]),
        ("cross_section_mm2", ["tension_mm"]),
        ("modulus_mpa", ["tension_mm"]),
        ("weight_n_per_m", ["sag_mm"]),
        ("span_mm", ["sag_mm"]),
        ("nominal_length_mm", ["standardisation_mm"]),
        ("actual_length_mm", ["standardisation_mm"]),
    ],
)
def test_a_correction_without_all_its_data_is_omitted_alone(left_out, zero):
    found = correct_lengths(np.array([20_000.0]), **EVERYTHING | {left_out: np.nan})
    for member in MEMBERS[:4]:
        assert (getattr(found, member)[0] == 0.0) == (member in zero), member


def test_readings_are_corrected_each_by_its_own_data():
    length = np.array([20_000.0, 20_000.0])
    found = correct_lengths(
        length, temperature_c=np.array([np.nan, 30.0]), standard_temperature_c=20.0
    )
    np.testing.assert_allclose(found.total_mm, [0.0, 2.32])


def test_a_whole_number_of_spans_equals_the_spans_one_by_one():
    one = correct_lengths(np.array([10_000.0]), **EVERYTHING).sag_mm[0]
    assert correct_lengths(np.array([30_000.0]), **EVERYTHING).sag_mm[
        0
    ] == pytest.approx(3 * one)


def test_a_length_shorter_than_the_span_sags_as_one_span():
    short = correct_lengths(np.array([4_000.0]), **EVERYTHING).sag_mm[0]
    assert short == pytest.approx(-((0.19 * 4) ** 2) * 4_000 / (24 * 3600))


def test_sign_of_a_length_is_kept():
    length = np.array([20_000.0])
    plus = correct_lengths(length, slope_rise_mm=500.0, **EVERYTHING).total_mm
    minus = correct_lengths(-length, slope_rise_mm=500.0, **EVERYTHING).total_mm
    np.testing.assert_array_equal(plus, -minus)


def test_slope_of_a_small_rise_keeps_its_digits():
    # -h²/2s; subtracting two square roots of 30 m would leave nothing of it.
    found = correct_lengths(np.array([30_000.0]), slope_rise_mm=0.01)
    assert found.slope_mm[0] == pytest.approx(-(0.01**2) / 60_000, rel=1e-9)


@given(
    length=st.floats(100.0, 1e6),
    incline=st.floats(0.0, 0.9),
    temperature=st.floats(-30.0, 50.0),
    tension=st.floats(40.0, 200.0),
)
def test_laying_out_then_measuring_gives_the_distance_wanted(
    length, incline, temperature, tension
):
    data = EVERYTHING | {"temperature_c": temperature, "tension_n": tension}
    rise = incline * length
    wanted = np.array([length])
    reading = wanted + lay_out(wanted, slope_rise_mm=rise, **data).total_mm
    back = reading + correct_lengths(reading, slope_rise_mm=rise, **data).total_mm
    # 1e-8 mm: iteration stops at 1e-10 and a kilometre has 1e-10 mm to a bit
    np.testing.assert_allclose(back, wanted, atol=1e-8)


def test_laying_out_reverses_the_sign_of_each_correction():
    wanted = np.array([20_000.0])
    out, back = lay_out(wanted, **EVERYTHING), correct_lengths(wanted, **EVERYTHING)
    for member in MEMBERS[:4]:
        assert getattr(out, member)[0] == pytest.approx(
            -getattr(back, member)[0], rel=1e-3
        )


@given(
    standard=st.floats(0.0, 100.0),
    weight=st.floats(0.05, 1.0),
    span=st.floats(1_000.0, 50_000.0),
    length=st.floats(1_000.0, 100_000.0),
)
def test_stretch_and_sag_cancel_at_normal_tension(standard, weight, span, length):
    tape = {"cross_section_mm2": 2.5, "modulus_mpa": 205_000.0}
    hung = {"weight_n_per_m": weight, "span_mm": span, "standard_tension_n": standard}
    pull = normal_tension(np.array([length]), **tape, **hung)
    found = correct_lengths(np.array([length]), tension_n=pull, **tape, **hung)
    assert pull[0] >= standard
    assert abs(found.tension_mm[0] + found.sag_mm[0]) <= 1e-9 + 1e-9 * abs(
        found.sag_mm[0]
    )


@pytest.mark.parametrize(
    "change",
    [
        {"span_mm": 0.0},
        {"tension_n": 0.0},
        {"cross_section_mm2": 0.0},
        {"modulus_mpa": -1.0},
        {"nominal_length_mm": 0.0},
    ],
)
def test_a_datum_that_cannot_be_divided_by_is_refused(change):
    with pytest.raises(EngineError, match="greater than zero"):
        correct_lengths(np.array([20_000.0]), **EVERYTHING | change)


def test_a_bad_datum_that_is_not_used_is_not_refused():
    found = correct_lengths(np.array([20_000.0]), tension_n=0.0)
    assert found.total_mm[0] == 0.0


def test_a_rise_longer_than_the_tape_is_refused():
    with pytest.raises(EngineError, match="less than the length"):
        correct_lengths(np.array([1_000.0]), slope_rise_mm=1_000.0)


def test_a_tape_that_hangs_like_a_rope_cannot_lay_out():
    with pytest.raises(EngineError, match="pull harder"):
        lay_out(
            np.array([50_000.0]),
            tension_n=1.0,
            weight_n_per_m=1.0,
            span_mm=50_000.0,
        )


def test_a_negative_standard_tension_is_refused():
    with pytest.raises(EngineError, match="negative"):
        normal_tension(
            np.array([1_000.0]),
            standard_tension_n=-1.0,
            cross_section_mm2=2.5,
            modulus_mpa=205_000.0,
            weight_n_per_m=0.2,
            span_mm=1_000.0,
        )


def test_inputs_are_untouched_and_empty_is_welcome():
    length = np.array([20_000.0, -5.0])
    length.flags.writeable = False
    correct_lengths(length, **EVERYTHING)
    lay_out(length, **EVERYTHING)
    assert correct_lengths(np.empty(0), **EVERYTHING).total_mm.shape == (0,)
