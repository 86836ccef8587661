import numpy as np
import pytest

from checks.engine.shop_sizes import get_shop_increment, round_up_to_shop

INCH = 25.4


@pytest.mark.parametrize(
    ("need_in", "ordered_in"),
    [
        (0.0, 0.0),
        (1 / 16, 1 / 16),
        (1 / 16 + 1e-9, 1 / 16),
        (1 / 16 + 1e-6, 2 / 16),
        (1 + 25 / 32, 1 + 13 / 16),
        (0.001, 1 / 16),
    ],
)
def test_an_inch_shop_rounds_up_to_sixteenths(need_in, ordered_in):
    got = round_up_to_shop(need_in * INCH, "imperial")
    assert float(got) == pytest.approx(ordered_in * INCH, abs=1e-12)


@pytest.mark.parametrize("style", ["imperial", "inches", "decimal_feet"])
def test_every_inch_notation_has_the_same_increment(style):
    assert get_shop_increment(style) == 1.5875


def test_a_metric_shop_rounds_up_to_millimetres():
    got = round_up_to_shop([3.0, 3.0 + 5e-7, 3.0 + 2e-6, 3.5, 4.0], "metric")
    assert got.tolist() == [3.0, 3.0, 4.0, 4.0, 4.0]


def test_an_ordered_size_is_never_short_and_never_an_increment_too_large():
    need = np.random.default_rng(5).uniform(0, 300, 5000)
    for style in ("imperial", "metric"):
        ordered = round_up_to_shop(need, style)
        assert (ordered >= need - 1e-6).all()
        assert (ordered - need < get_shop_increment(style)).all()


def test_an_unknown_length_stays_unknown_and_the_input_is_untouched():
    need = np.array([np.nan, 1.0])
    got = round_up_to_shop(need, "metric")
    assert np.isnan(got[0])
    assert got[1] == 1.0
    assert np.isnan(need[0])
    assert np.signbit(round_up_to_shop(0.0, "metric")).item() is False
