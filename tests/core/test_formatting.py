"""Template tags: what a reader sees of lengths, verdicts and dates."""

from datetime import UTC, date, datetime

import pytest
from django.http import QueryDict
from django.template import Context, Template

from core import formatting
from core.templatetags.formatting import address_with, days_until
from core.vocabulary import Verdict


def draw(source: str, **context: object) -> str:
    return Template("{% load formatting %}" + source).render(Context(context))


@pytest.mark.parametrize(
    ("mm", "style", "text"),
    [
        (9652.0, "imperial", "31\u2032-8\u2033"),
        (9652.0, "decimal", "31.667 ft"),
        (9652.0, "metric", "9652.0 mm"),
        (63.5, "imperial", "2 1\u20442\u2033"),
        (63.5, "decimal", "2.500 in"),
        (-63.5, "decimal", "\u22122.500 in"),
    ],
)
def test_a_length_in_each_style(
    mm: float, style: formatting.DisplayStyle, text: str
) -> None:
    assert formatting.format_display_length(mm, style) == text


@pytest.mark.parametrize(
    ("mm", "style", "text"),
    [
        (2.7043, "imperial", "0.1065 in"),
        (2.7043, "decimal", "0.1065 in"),
        (2.7043, "metric", "2.704 mm"),
        (-0.8, "metric", "\u22120.800 mm"),
    ],
)
def test_what_is_finer_than_a_tape_is_in_decimals(
    mm: float, style: formatting.DisplayStyle, text: str
) -> None:
    assert formatting.format_display_length(mm, style, fine=True) == text


@pytest.mark.parametrize("style", formatting.DISPLAY_STYLES)
def test_a_deviation_carries_its_sign_unless_it_shows_as_nothing(
    style: formatting.DisplayStyle,
) -> None:
    assert formatting.format_display_length(6.35, style, signed=True).startswith("+")
    assert formatting.format_display_length(-6.35, style, signed=True).startswith(
        "\u2212"
    )
    assert formatting.format_display_length(0.0, style, signed=True)[0] == "0"
    assert formatting.format_display_length(1e-9, style, signed=True)[0] == "0"


@pytest.mark.parametrize(
    ("units", "own", "other"),
    [
        ("imperial", "+3,000 psi", "+20.7 MPa"),
        ("decimal", "+3,000 psi", "+20.7 MPa"),
        ("metric", "+20.7 MPa", "+3,000 psi"),
    ],
)
def test_a_strength_shows_the_readers_unit_and_keeps_the_other_at_hand(
    units: str, own: str, other: str
) -> None:
    """3000 psi = 20.684 MPa: 1 psi = 6894.757 Pa, NIST SP 811 (2008), B.8."""
    shown = draw("{% strength mpa signed=True %}", mpa=20.684271, units=units)
    assert f">{own}</span>" in shown
    assert f'title="{other}"' in shown


@pytest.mark.parametrize("unknown", [None, "", float("nan")])
def test_what_is_not_known_is_a_dash(unknown: float | str | None) -> None:
    assert draw("{% length mm %}", mm=unknown) == formatting.EM_DASH
    assert draw("{% strength mpa %}", mpa=unknown) == formatting.EM_DASH


def test_a_length_shows_the_readers_units_and_keeps_the_others_at_hand() -> None:
    shown = draw("{% length mm %}", mm=63.5, units="metric")
    assert ">63.5 mm</span>" in shown
    assert 'data-imperial="2 1\u20442\u2033"' in shown
    assert 'title="2 1\u20442\u2033 · 2.500 in"' in shown


def test_no_length_is_a_dash_and_zero_is_a_length() -> None:
    assert draw("{% length mm %}", mm=None) == "\u2014"
    assert "0.0 mm" in draw("{% length mm %}", mm=0.0, units="metric")


def test_in_a_drawing_a_length_is_a_tspan() -> None:
    assert draw("{% length 25.4 svg=True %}").startswith("<tspan")


@pytest.mark.parametrize("name", ["within", "outside", "remeasure", "unmeasured"])
def test_a_verdict_has_a_shape_and_a_word(name: str) -> None:
    chip = draw("{% verdict name %}", name=name)
    assert f'href="#verdict-{name}"' in chip
    assert chip.endswith(f"</svg>{Verdict(name).label}</span>")


def test_a_verdict_nobody_defined_is_not_drawn() -> None:
    with pytest.raises(ValueError, match="fine"):
        draw('{% verdict "fine" %}')


def test_dates_are_set_the_same_everywhere() -> None:
    assert "9 Mar 2026" in draw("{{ d|day }}", d=date(2026, 3, 9))
    at = datetime(2026, 3, 9, 14, 5, tzinfo=UTC)
    assert "9 Mar 2026, 14:05 UTC" in draw("{{ t|moment }}", t=at)


@pytest.mark.parametrize(
    ("day", "words"),
    [(9, "today"), (10, "in 1 day"), (12, "in 3 days"), (7, "2 days ago")],
)
def test_how_far_off_a_date_is(day: int, words: str) -> None:
    assert days_until(date(2026, 3, day), date(2026, 3, 9)) == words


def test_an_address_keeps_the_query_it_had() -> None:
    class Request:
        GET = QueryDict("state=held&page=4")

    context = Context({"request": Request()})
    assert address_with(context, page=None, site="x y") == "?state=held&site=x+y"


@pytest.mark.parametrize(
    ("style", "text"),
    [
        ("imperial", "just over 1\u20448\u2033"),
        ("decimal", "just over 0.125 in"),
        ("metric", "just over 3.2 mm"),
    ],
)
def test_a_deviation_beyond_its_limit_never_shows_as_equal_to_it(
    style: formatting.DisplayStyle, text: str
) -> None:
    shown = formatting.format_display_length(
        3.1751, style, denominator=32, signed=True, limit_mm=3.175
    )
    assert shown == text
    within = formatting.format_display_length(
        3.175, style, denominator=32, signed=True, limit_mm=3.175
    )
    assert within.startswith("+")


@pytest.mark.parametrize(
    ("value", "unit", "imperial", "metric"),
    [
        (20.684271, "MPa", "3,000 psi", "20.7 MPa"),
        (44482.216, "N", "10.0 kips", "44.5 kN"),
        (10.0, "°C", "50 °F", "10 °C"),
        (-0.01, "rad", "0.57° clockwise", "0.57° clockwise"),
        (0.01, "rad", "0.57° counter-clockwise", "0.57° counter-clockwise"),
        (0.0, "rad", "0.00°", "0.00°"),
        (6.5, "d", "6.5 d", "6.5 d"),
        (6.35, "mm", "1\u20444\u2033", "6.4 mm"),
    ],
)
def test_a_quantity_in_the_units_of_the_notation(
    value: float, unit: formatting.QuantityUnit, imperial: str, metric: str
) -> None:
    assert formatting.format_quantity(value, unit, "imperial") == imperial
    assert formatting.format_quantity(value, unit, "metric") == metric


@pytest.mark.parametrize(
    ("probability", "text"),
    [
        (0.0, "0%"),
        (1e-9, "<0.1%"),
        (0.0123, "1.2%"),
        (0.99951, ">99.9%"),
        (1.0, "100%"),
    ],
)
def test_only_a_certain_probability_is_written_as_nothing_or_all(
    probability: float, text: str
) -> None:
    assert formatting.format_probability(probability) == text
