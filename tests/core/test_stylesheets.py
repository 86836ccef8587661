"""The colours: legible outdoors, light and dark, told apart by more than hue.

Contrast by WCAG 2.2, "relative luminance" and "contrast ratio"; level AAA asks 7 : 1
for text (success criterion 1.4.6), 1.4.11 asks 3 : 1 for what is not text. The verdict
colours are those of Okabe and Ito, "Color Universal Design" (2008).
"""

import re
from pathlib import Path

import pytest

import core

LOOK = Path(core.__file__).parent / "static" / "core"
TEXT = 7.0
SHAPE = 3.0
OKABE_ITO = {"#009e73", "#d55e00", "#e69f00", "#0072b2", "#56b4e9"}


def colours(block: str) -> dict[str, str]:
    return dict(re.findall(r"--([\w-]+): (#[0-9a-f]{6})", block))


def luminance(colour: str) -> float:
    channels = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    linear = [
        c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in channels
    ]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def contrast(one: str, other: str) -> float:
    low, high = sorted([luminance(one), luminance(other)])
    return (high + 0.05) / (low + 0.05)


_base = (LOOK / "base.css").read_text()
LIGHT = colours(_base.partition(":root {")[2].partition("}")[0])
DARK = LIGHT | colours(
    _base.partition(':root[data-theme="dark"] {')[2].partition("}")[0]
)
DARK_BY_DEVICE = LIGHT | colours(
    _base.partition(':root:not([data-theme="light"]) {')[2].partition("}")[0]
)
THEMES = pytest.mark.parametrize("theme", [LIGHT, DARK], ids=["light", "dark"])


def test_the_contrast_formula_gives_the_published_extremes() -> None:
    assert contrast("#000000", "#ffffff") == pytest.approx(21)
    assert contrast("#777777", "#ffffff") == pytest.approx(4.48, abs=0.005)


def test_dark_is_the_same_by_choice_and_by_device() -> None:
    assert DARK == DARK_BY_DEVICE != LIGHT


@THEMES
@pytest.mark.parametrize("paper", ["background", "surface"])
@pytest.mark.parametrize("text", ["text", "muted", "accent"])
def test_text_on_paper_is_aaa(theme: dict[str, str], text: str, paper: str) -> None:
    assert contrast(theme[text], theme[paper]) >= TEXT


@THEMES
@pytest.mark.parametrize(
    "wash", ["within", "outside", "remeasure", "unmeasured", "accent"]
)
def test_text_on_a_wash_is_aaa(theme: dict[str, str], wash: str) -> None:
    assert contrast(theme["text"], theme[f"{wash}-wash"]) >= TEXT


@THEMES
def test_the_quiet_text_of_a_stage_not_begun_is_aaa(theme: dict[str, str]) -> None:
    assert contrast(theme["muted"], theme["unmeasured-wash"]) >= TEXT


@THEMES
def test_text_on_the_one_strong_button_is_aaa(theme: dict[str, str]) -> None:
    assert contrast(theme["on-accent"], theme["accent"]) >= TEXT


@THEMES
@pytest.mark.parametrize("verdict", ["within", "outside", "remeasure"])
def test_a_verdicts_shape_stands_out(theme: dict[str, str], verdict: str) -> None:
    line = theme["verdict-line"]
    assert contrast(theme[verdict], line) >= SHAPE
    best = max(
        contrast(colour, theme[f"{verdict}-wash"]) for colour in (theme[verdict], line)
    )
    assert best >= SHAPE


@THEMES
def test_edges_and_focus_stand_out(theme: dict[str, str]) -> None:
    for paper in ("background", "surface"):
        assert contrast(theme["border"], theme[paper]) >= SHAPE
        assert contrast(theme["focus"], theme[paper]) >= SHAPE


@THEMES
def test_verdicts_and_drawings_use_the_published_palette(theme: dict[str, str]) -> None:
    for name in ("within", "outside", "remeasure", "planned"):
        assert theme[name] in OKABE_ITO


def test_every_verdict_has_a_shape_of_its_own() -> None:
    sprite = (LOOK.parents[1] / "templates" / "core" / "icon_sprite.html").read_text()
    shapes = dict(
        re.findall(r'id="verdict-(\w+)"[^>]*>(.*?)</symbol>', sprite, re.DOTALL)
    )
    assert set(shapes) == {"within", "outside", "remeasure", "unmeasured"}
    assert len(set(shapes.values())) == 4


def test_nothing_is_fetched_from_elsewhere() -> None:
    for sheet in LOOK.glob("*.css"):
        assert not re.search(r"url\(|@import|https?:", sheet.read_text()), sheet
