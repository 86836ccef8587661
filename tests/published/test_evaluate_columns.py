"""Notch and plumb as `evaluate` applies their limits.

Limits are written here again from the published clauses (published-facts 2 to 4), in
inches or millimetres, with the clause beside each.
"""

import pytest

from tests.published.contract import (
    Document,
    building,
    check,
    evaluate_document,
    finding,
    read,
    topics,
)

# ---- notch and plumb -----------------------------------------------------------------


@pytest.mark.parametrize("kind", ["notch_width", "notch_depth"])
@pytest.mark.parametrize(
    ("value", "word"),
    [("46.35 mm", "within"), ("33.65 mm", "within"), ("46.36 mm", "outside")],
)
def test_the_notch_keeps_a_quarter_inch(kind: str, value: str, word: str) -> None:
    document = building(notch={"width": "40 mm", "depth": "40 mm"})
    result = evaluate_document(read(document, f"{kind}:B-C", value))
    assert check(result, f"{kind}:B-C")["verdict"] == word
    assert topics(result) == ([f"{kind}:B-C"] if word == "outside" else [])


@pytest.mark.parametrize("axis", ["in", "along"])
@pytest.mark.parametrize("sign", [1, -1])
@pytest.mark.parametrize(("lean", "word"), [(12.0, "within"), (12.01, "outside")])
def test_plumb_is_a_five_hundredth_of_the_height(
    axis: str, sign: int, lean: float, word: str
) -> None:
    # AISC 303 7.13.1.1
    key = f"plumb:S.{axis}"
    result = evaluate_document(read(building(), key, f"{sign * lean} mm", height="6 m"))
    found = check(result, key)
    assert found["limit"] == pytest.approx(12)
    assert (found["nominal"], found["verdict"]) == (0, word)
    if word == "outside":
        first = finding(result, key)["remedies"][0]
        assert (first["remedy"], first["axis"]) == ("plumb_up", axis)
        assert first["move"] == pytest.approx(-sign * lean)


def test_leans_over_different_heights_are_one_lean() -> None:
    document = read(building(), "plumb:S.in", "6 mm", height="3 m")
    read(document, "plumb:S.in", "12 mm", height="6 m")
    found = check(evaluate_document(document), "plumb:S.in")
    assert found["verdict"] == "within"
    assert found["deviation"] == pytest.approx(found["limit"])


def test_a_building_with_nothing_but_an_outline_is_evaluated() -> None:
    bare = {
        key: value
        for key, value in building().items()
        if key in ("format", "name", "length_unit", "outline")
    }
    result = evaluate_document(read(bare, "wall:A-B", "24 m"))
    assert check(result, "wall:A-B")["verdict"] == "within"
    assert (result["positions"], result["levels"]["pads"]) == ([], [])


# ---- the resultant lean ----------------------------------------------------------


def leaning(along: float, inward: float, height: str = "20'") -> Document:
    document = read(building(), "plumb:S.along", f"{along} in", height=height)
    return evaluate_document(
        read(document, "plumb:S.in", f"{inward} in", height=height)
    )


def test_two_leans_within_may_together_be_beyond_one_in_five_hundred() -> None:
    # AISC 303-16 7.13.1.1: one angle in space; 0.45 and 0.45 in on 20 ft, each 1/533,
    # together 0.6364 in, 1/377 (worked apart from this program)
    result = leaning(0.45, 0.45)
    for axis in ("along", "in"):
        assert check(result, f"plumb:S.{axis}")["verdict"] == "within"
    (topic,) = [each for each in topics(result) if each.startswith("plumb")]
    found = finding(result, topic)
    assert sorted(found["checks"]) == ["plumb:S.along", "plumb:S.in"]
    first = found["remedies"][0]
    assert (first["remedy"], first["approval"]) == ("plumb_up", "field")
    assert "1/377" in first["reason"]
    assert "1/500" in first["reason"]


@pytest.mark.parametrize(
    ("along", "inward", "beyond"),
    [
        (0.288, 0.384, False),  # 3 : 4 : 5, exactly 0.48 in = 20 ft / 500
        (0.289, 0.385, True),
        (0.48, 0.0, False),
        (-0.3, 0.3, False),
        (-0.4, 0.4, True),
    ],
)
def test_the_resultant_lean_keeps_the_limit_itself(
    along: float, inward: float, beyond: bool
) -> None:
    plumb = [each for each in topics(leaning(along, inward)) if "plumb" in each]
    assert bool(plumb) is beyond


def test_a_lean_beyond_along_one_axis_is_one_finding() -> None:
    plumb = [each for each in topics(leaning(0.6, 0.45)) if "plumb" in each]
    assert plumb == ["plumb:S.along"]


def test_the_resultant_of_two_heights_goes_by_the_slopes() -> None:
    document = read(building(), "plumb:S.along", "0.45 in", height="20'")
    result = evaluate_document(read(document, "plumb:S.in", "0.225 in", height="10'"))
    (topic,) = [each for each in topics(result) if each.startswith("plumb")]
    assert "1/377" in finding(result, topic)["remedies"][0]["reason"]
