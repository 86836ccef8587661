"""Nothing irreversible is proposed on one reading."""

from typing import Any

import pytest

from checks.evaluation.evaluate import compute_evaluation, evaluate
from jobs.exchange.input.parser import parse_building
from tests import documents

Document = dict[str, Any]
INCH = 25.4


def move_group(document: Document, inward: float) -> None:
    """Read every rod of A2 this much further in. [mm]"""
    for rod in range(1, 5):
        documents.off_by(document, f"setback:A2.{rod}", inward)


def rod_out(document: Document) -> None:
    """Read one rod of A2 beyond its hole, with nothing that a mistake explains."""
    documents.off_by(document, "offset:A2.1", 9.0)
    documents.off_by(document, "setback:A2.1", 7.0)


def repeat(document: Document, check: str, **members: Any) -> None:
    """Read a check again with the same value, differing in these members."""
    first = documents.reading_of(document, check)
    document["readings"].append({**first, "id": f"again {check}", **members})


def finding_of(document: Document, topic: str = "position:A2") -> Document:
    found = evaluate(parse_building(document))["findings"]
    return next(each for each in found if each["finding"] == topic)


def test_holes_are_not_opened_on_one_reading():
    found = finding_of(documents.shed(rod_out))
    first, *others = found["remedies"]
    assert (first["remedy"], found["approval"]) == ("remeasure", "field")
    assert first["follows"] in {"ream", "slot"}
    assert first["checks"] == ["setback:A2.1", "offset:A2.1"]
    follower = next(each for each in others if each["remedy"] == first["follows"])
    assert follower["reason"] in first["reason"]
    assert follower["unconfirmed"] == ["setback:A2.1", "offset:A2.1"]
    assert follower["why_second"].startswith("It waits for an independent repeat")
    refer = next(each for each in others if each["remedy"] == "refer")
    assert "unconfirmed" not in refer


@pytest.mark.parametrize(
    "members",
    [{"by": "crew 4"}, {"at": "2026-04-21T08:00:00Z"}, {"instrument": "T2"}],
    ids=["person", "day", "instrument"],
)
def test_another_person_day_or_instrument_confirms(members: Document):
    document = documents.shed(rod_out)
    document["instruments"]["T2"] = {"kind": "steel tape", "class": "I"}
    for check in ("setback:A2.1", "offset:A2.1"):
        repeat(document, check, **members)
    found = finding_of(document)
    assert found["remedies"][0]["remedy"] in {"ream", "slot"}
    assert "unconfirmed" not in found["remedies"][0]


@pytest.mark.parametrize(
    "members",
    [
        {},
        {"at": "2026-04-20T11:30:00Z"},
        {"by": " CREW 3 "},
        {"by": None},
        # Late on a day in one zone is early on the next in another.
        {"at": "2026-04-21T00:10:00+09:00"},
    ],
    ids=["the same", "an hour later", "same name", "no name", "the same evening"],
)
def test_the_same_hand_on_the_same_day_confirms_nothing(members: Document):
    document = documents.shed(rod_out)
    for check in ("setback:A2.1", "offset:A2.1"):
        repeat(document, check, **members)
        if members.get("by", "") is None:
            del document["readings"][-1]["by"]
    assert finding_of(document)["remedies"][0]["remedy"] == "remeasure"


def test_every_reading_that_is_out_must_be_repeated():
    document = documents.shed(rod_out)
    repeat(document, "setback:A2.1", by="crew 4")
    first = finding_of(document)["remedies"][0]
    assert (first["remedy"], first["checks"]) == ("remeasure", ["offset:A2.1"])


def test_a_repeat_that_disagrees_confirms_nothing():
    document = documents.shed(rod_out)
    for check in ("setback:A2.1", "offset:A2.1"):
        repeat(document, check, by="crew 4")
    documents.reading_of(document, "offset:A2.1")["value"] = "80 mm"
    evaluation = compute_evaluation(parse_building(document))
    row = evaluation.table.index["offset:A2.1"]
    assert not evaluation.observations.repeated_independently[row]


def test_a_repeat_that_was_superseded_confirms_nothing():
    document = documents.shed(rod_out)
    for check in ("setback:A2.1", "offset:A2.1"):
        first = documents.reading_of(document, check)
        repeat(document, check, by="crew 4", supersedes=first["id"])
    assert finding_of(document)["remedies"][0]["remedy"] == "remeasure"


def test_a_shift_is_offered_at_once_and_its_alternatives_wait():
    found = finding_of(documents.shed(lambda d: move_group(d, 3.6)))
    first, *others = found["remedies"]
    assert first["remedy"] == "shift"
    assert all(
        ("unconfirmed" in each) is (each["remedy"] in {"ream", "slot", "re_anchor"})
        for each in others
    )


def test_a_line_twenty_inches_out_is_read_again_before_a_rod_is_cut():
    plan = documents.set_rods_apart(documents.plan())
    document = documents.read_perfectly(plan)
    documents.off_by(document, "line:A2", 20.0 * INCH)
    first = finding_of(document)["remedies"][0]
    assert (first["remedy"], first["follows"]) == ("remeasure", "re_anchor")
    assert first["checks"] == ["line:A2"]
    repeat(document, "line:A2", by="crew 4")
    assert finding_of(document)["remedies"][0]["remedy"] == "re_anchor"


def test_a_high_pad_is_lowered_only_after_another_reading_of_that_pad():
    def change(document: Document) -> None:
        documents.off_by(document, "level:B2", -9.0)

    document = documents.shed(change)
    found = finding_of(document, "level:A1")
    lowering = next(r for r in found["remedies"] if r["remedy"] == "lower_pad")
    assert found["remedies"][0]["remedy"] == "shim"
    assert lowering["unconfirmed"] == ["level:B2"]
    repeat(document, "level:B2", by="crew 4")
    found = finding_of(document, "level:A1")
    lowering = next(r for r in found["remedies"] if r["remedy"] == "lower_pad")
    assert "unconfirmed" not in lowering


# ---- a line exactly an inch or a foot off -------------------------------------------


@pytest.mark.parametrize("inches", [1.0, -1.0, 12.0, -12.0])
def test_a_line_an_inch_or_a_foot_off_has_its_cause_named(inches: float):
    found = finding_of(
        documents.shed(lambda d: documents.off_by(d, "line:A2", inches * INCH + 0.4))
    )
    assert found["remedies"][0]["remedy"] == "remeasure"
    assert found["likely_cause"]["cause"] == "misread"
    assert found["likely_cause"]["checks"] == ["line:A2"]


def test_a_line_an_inch_off_that_another_person_confirms_is_no_mistake():
    document = documents.shed(lambda d: documents.off_by(d, "line:A2", INCH))
    repeat(document, "line:A2", by="crew 4")
    found = finding_of(document)
    assert found["likely_cause"] is None
    assert found["remedies"][0]["remedy"] != "remeasure"


def test_lines_that_stand_off_together_are_not_called_misread_by_an_inch():
    def change(document: Document) -> None:
        for mark in ("A1", "A2"):
            documents.off_by(document, f"line:{mark}", INCH)

    assert finding_of(documents.shed(change))["likely_cause"] is None
