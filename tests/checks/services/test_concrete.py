"""Concrete entries: recorded, merged into the document, evaluated."""

from datetime import timedelta
from typing import Any
from uuid import uuid4

import pgtrigger
import pytest
from django.core.exceptions import PermissionDenied
from django.db import IntegrityError, ProgrammingError, transaction
from django.utils.timezone import now

from checks.evaluation.evaluate import evaluate
from checks.evaluation_input import build_building_document
from checks.models import ConcreteEntry, Evaluation
from checks.queries.releases import read_release_record
from checks.reports.concrete_entries import compose_concrete_entries as known_on_paper
from checks.services.concrete import RecordedConcrete, record_concrete
from checks.services.releases import find_verified_release, sign_release
from core.models import Person
from jobs import services as jobs
from jobs.exchange.canonical_json import sha256_of
from jobs.exchange.input.parser import parse_building
from jobs.models import Building, Job
from tests.checks.conftest import Measure, as_planned
from tests.checks.queries.audit_log_pages import words_of
from tests.example_buildings import shed

pytestmark = pytest.mark.django_db

MIXTURE = {
    "kind": "mixture",
    "on": "2026-03-20",
    "datum": "0 degC",
    "curve": [
        {"maturity": 450, "strength": "1150 psi"},
        {"maturity": 1000, "strength": "2050 psi"},
        {"maturity": 2300, "strength": "2800 psi"},
        {"maturity": 4700, "strength": "3500 psi"},
    ],
}
EXPECTED = {
    "kind": "expected",
    "on": "2026-04-08",
    "expected": {"low": "6 degC", "likely": "11 degC", "high": "18 degC"},
}


def build_entry(kind: str, **members: Any) -> dict[str, Any]:
    """Write an entry with an id of its own."""
    return {"id": str(uuid4()), "kind": kind, **members}


def complete_entry(entry: dict[str, Any], **members: Any) -> dict[str, Any]:
    return {"id": str(uuid4()), **entry, **members}


def warm(day: int, hour: int, celsius: str, **members: Any) -> dict[str, Any]:
    """Write a temperature of April; the shed's concrete was placed on the 7th."""
    at = f"2026-04-{day:02}T{hour:02}:00:00Z"
    return build_entry("temperature", at=at, temperature=celsius, **members)


def cured(day: int, strength: str, **members: Any) -> dict[str, Any]:
    on = f"2026-04-{day:02}"
    return build_entry("standard_cured", on=on, strength=strength, **members)


@pytest.fixture
def tell(building: Building, field_lead: Person) -> Any:
    def tell(*entries: Any) -> RecordedConcrete:
        return record_concrete(actor=field_lead, building=building, entries=entries)

    return tell


def refused(recorded: RecordedConcrete) -> dict[str, str]:
    assert recorded.stored == []
    return {each.pointer: each.message for each in recorded.refused}


def concrete(building: Building) -> dict[str, Any]:
    found: dict[str, Any] = build_building_document(building)["concrete"]
    return found


def judged(building: Building) -> dict[str, Any]:
    latest = Evaluation.objects.filter(building=building).latest("pk")
    found: dict[str, Any] = latest.result["concrete"]
    return found


# ---- what is recorded ---------------------------------------------------------------


def test_an_entry_keeps_what_was_typed_and_who_recorded_it(
    building: Building, field_lead: Person, tell: Any
) -> None:
    entry = warm(8, 6, "57.5 degF", hours=20, by="crew 2", note="in the north pad")
    (stored,) = tell(entry).stored
    row = ConcreteEntry.objects.get()
    assert row == stored
    assert (row.entry, row.kind, row.recorded_by) == (entry, "temperature", field_lead)
    assert f"{row.at:%Y-%m-%d %H:%M}" == "2026-04-08 06:00"


def test_the_same_entry_twice_is_one(tell: Any) -> None:
    entry = cured(30, "3600 psi")
    tell(entry)
    again = tell(entry)
    assert (again.stored, len(again.repeated), again.refused) == ([], 1, [])
    assert len(tell(cured(30, "3600 psi"), entry).stored) == 1
    assert ConcreteEntry.objects.count() == 2


def test_an_id_belongs_to_one_entry(tell: Any) -> None:
    entry = cured(30, "3600 psi")
    tell(entry)
    assert "/entries/0/id" in refused(tell({**entry, "strength": "3700 psi"}))
    one = cured(30, "3600 psi", id="T")
    other = cured(30, "3700 psi", id="T")
    assert "/entries/1/id" in refused(tell(one, other))


def test_a_correction_replaces_one_of_its_kind_once(
    building: Building, tell: Any
) -> None:
    first = cured(30, "3600 psi")
    tell(first)
    second = cured(30, "3660 psi", supersedes=first["id"])
    tell(second)
    assert concrete(building)["standard_cured"] == ["3660 psi"]
    late = cured(30, "3000 psi", supersedes=first["id"])
    assert "replaced by" in refused(tell(late))["/entries/0/supersedes"]
    other = warm(8, 6, "14 degC", hours=20, supersedes=second["id"])
    assert "of the same kind" in refused(tell(other))["/entries/0/supersedes"]
    none = cured(30, "3000 psi", supersedes="nothing")
    assert "no entry nothing" in refused(tell(none))["/entries/0/supersedes"]


def test_all_or_none_is_stored(tell: Any) -> None:
    wrong = tell(cured(30, "3600 psi"), cured(30, "3600"))
    assert list(refused(wrong)) == ["/entries/1/strength"]
    assert not ConcreteEntry.objects.exists()


@pytest.mark.parametrize(
    ("entry", "place", "why"),
    [
        ("14 degC", "", "must be an object"),
        ({"kind": "slump"}, "/kind", "one of placing, temperature"),
        (build_entry("temperature", temperature="14 degC"), "", "“at” is missing"),
        (warm(8, 6, "14", hours=20), "/temperature", "41 degF"),
        (warm(8, 6, "140 degC", hours=20), "/temperature", "typing error"),
        (warm(8, 6, "14 degC", hours=0), "/hours", "above 0"),
        (warm(8, 6, "14 degC"), "/hours", "hours since the concrete was placed"),
        (warm(20, 6, "14 degC", hours=20), "/at", "placed on 2026-04-07"),
        (warm(8, 6, "14 degC", hours=20, slump="4 in"), "/slump", "Unknown field"),
        (
            build_entry("temperature", at="2026-04-08T06:00:00", temperature="14 degC"),
            "/at",
            "no time zone",
        ),
        (cured(30, "0 psi"), "/strength", "greater than zero"),
        (cured(1, "3600 psi"), "/on", "before 2026-04-07"),
        (
            build_entry("standard_cured", on="30 April", strength="3 MPa"),
            "/on",
            "a date",
        ),
        (build_entry("placing", placed_on="2926-04-07"), "/placed_on", "in the future"),
        (complete_entry(EXPECTED, on="2926-04-07"), "/on", "in the future"),
        (complete_entry(EXPECTED, on="0026-04-07"), "/on", "before 1950"),
        (
            build_entry(
                "temperature",
                at="0001-01-01T00:00:00Z",
                temperature="14 degC",
                hours=20,
            ),
            "/at",
            "before 1950",
        ),
        (complete_entry(EXPECTED, expected={"low": "6 degC"}), "/expected", "missing"),
        (complete_entry(MIXTURE, activation=5000), "", "either from a “datum”"),
        (complete_entry(MIXTURE, curve=MIXTURE["curve"][:1]), "/curve", "At least 2"),
    ],
)
def test_what_cannot_be_is_refused_by_its_place(
    entry: Any, place: str, why: str, tell: Any
) -> None:
    assert why in refused(tell(entry))[f"/entries/0{place}"]


def test_a_time_to_come_is_refused(tell: Any) -> None:
    at = (now() + timedelta(hours=1)).isoformat()
    entry = build_entry("temperature", at=at, temperature="14 degC", hours=20)
    wrong = [(each.pointer, each.message) for each in tell(entry).refused]
    assert wrong[0][0] == "/entries/0/at"
    assert wrong[0][1].startswith("This time is in the future")


def test_temperatures_make_one_history(tell: Any) -> None:
    tell(warm(8, 6, "14 degC", hours=20))
    same = warm(8, 6, "15 degC")
    assert "this very time" in refused(tell(same))["/entries/0/at"]
    agrees = warm(8, 18, "15 degC", hours=32.5)
    assert len(tell(agrees).stored) == 1
    off = warm(9, 6, "15 degC", hours=60)
    assert "44.0 h before" in refused(tell(off))["/entries/0/hours"]
    before = warm(7, 20, "16 degC")
    assert "needs the hours" in refused(tell(before))["/entries/0/hours"]
    assert len(tell({**before, "hours": 10}).stored) == 1


def test_too_many_at_once_are_refused(tell: Any) -> None:
    many = [cured(30, "3600 psi") for _ in range(1001)]
    assert "at most 1000" in refused(tell(*many))["/entries"]


def test_the_document_takes_no_more_tests_than_it_can_hold(
    building: Building, operations: Person, tell: Any
) -> None:
    document = shed()
    document["concrete"]["standard_cured"] = ["3600 psi"] * 499
    jobs.revise_plan(actor=operations, building=building, document=document, note="")
    assert len(tell(cured(29, "3500 psi")).stored) == 1


def test_only_who_records_readings_records_this(
    building: Building, stranger: Person, tell: Any
) -> None:
    with pytest.raises(PermissionDenied):
        record_concrete(
            actor=stranger, building=building, entries=[cured(30, "3600 psi")]
        )


@pytest.mark.parametrize("change", ["update", "delete"])
def test_no_entry_is_changed_or_deleted(change: str, tell: Any) -> None:
    tell(cured(30, "3600 psi"))
    rows = ConcreteEntry.objects.all()
    with (
        pytest.raises(ProgrammingError, match="Cannot update or delete"),
        transaction.atomic(),
    ):
        rows.update(kind="placing") if change == "update" else rows.delete()


@pytest.mark.parametrize(
    ("members", "constraint"),
    [
        ({"kind": "slump"}, "kind_known"),
        ({"at": None}, "time_of_a_temperature"),
        ({"client_id": ""}, "says_its_id"),
    ],
)
def test_the_database_refuses_what_no_entry_can_be(
    building: Building, field_lead: Person, members: Any, constraint: str
) -> None:
    row = {"kind": "temperature", "client_id": "T", "at": now(), **members}
    with pytest.raises(IntegrityError, match=constraint), transaction.atomic():
        ConcreteEntry.objects.create(
            building=building, entry={}, digest="", recorded_by=field_lead, **row
        )


# ---- what is made of it -------------------------------------------------------------


def test_entries_follow_the_plan_s_own_and_tests_their_days(
    building: Building, operations: Person, tell: Any
) -> None:
    document = shed()
    document["concrete"]["standard_cured"] = ["3450 psi"]
    jobs.revise_plan(actor=operations, building=building, document=document, note="")
    tell(cured(30, "3600 psi"), cured(21, "25 MPa"))
    assert concrete(building)["standard_cured"] == ["3450 psi", "25 MPa", "3600 psi"]
    accepted = judged(building)["acceptance"]
    assert [row["strength"] for row in accepted["tests"]] == pytest.approx(
        [23.786, 25.0, 24.821], abs=1e-3
    )


def test_temperatures_become_intervals_since_placing(
    building: Building, tell: Any
) -> None:
    tell(complete_entry(MIXTURE), complete_entry(EXPECTED))
    assert "maturity" not in concrete(building)
    tell(warm(8, 6, "57.2 degF", hours=20))
    assert judged(building)["forecast"]["maturity_now"] == pytest.approx(20 * 14)
    tell(warm(9, 6, "10 degC"), warm(8, 18, "16 degC"))
    maturity = concrete(building)["maturity"]
    # 14 from placing on, then to 16 in 12 h, then to 10 in 12 h: each interval's mean
    assert maturity["temperatures"] == [
        {"hours": 20, "temperature": "14 degC"},
        {"hours": 12, "temperature": "15 degC"},
        {"hours": 12, "temperature": "13 degC"},
    ]
    forecast = judged(building)["forecast"]
    assert forecast["maturity_now"] == pytest.approx(20 * 14 + 12 * 15 + 12 * 13)
    assert forecast["elapsed_hours"] == 44
    assert forecast["opens_on"]["likely"] is not None


def test_temperatures_go_on_where_the_plan_s_own_end(
    building: Building, operations: Person, tell: Any
) -> None:
    own = {name: MIXTURE[name] for name in ("datum", "curve")}
    own |= {"temperatures": [{"hours": 26, "temperature": "14 degC"}]}
    document = shed()
    document["concrete"]["maturity"] = {**own, "expected": EXPECTED["expected"]}
    jobs.revise_plan(actor=operations, building=building, document=document, note="")
    tell(warm(8, 6, "14 degC", hours=20), warm(8, 18, "18 degC"))
    # the plan's 26 h end half-way between the two: 16 there, 18 at the end
    assert concrete(building)["maturity"]["temperatures"] == [
        {"hours": 26, "temperature": "14 degC"},
        {"hours": 6, "temperature": "17 degC"},
    ]


def test_of_placing_mixture_and_expectation_the_last_holds(
    building: Building, tell: Any
) -> None:
    tell(
        complete_entry(MIXTURE),
        complete_entry(EXPECTED),
        warm(8, 6, "14 degC", hours=20),
    )
    colder = {"low": "2 degC", "likely": "6 degC", "high": "9 degC"}
    before = judged(building)["forecast"]["likely_hours"]
    tell(
        complete_entry(EXPECTED, expected=colder),
        build_entry("placing", placed_on="2026-04-08"),
    )
    assert concrete(building)["placed_on"] == "2026-04-08"
    assert concrete(building)["maturity"]["expected"] == colder
    assert judged(building)["forecast"]["likely_hours"] > before


def test_what_the_plan_has_no_strength_for_waits_in_the_record(
    building: Building, operations: Person, tell: Any
) -> None:
    tell(
        complete_entry(MIXTURE),
        complete_entry(EXPECTED),
        warm(8, 6, "14 degC", hours=20),
    )
    tell(cured(30, "3600 psi"))
    document = shed()
    del document["concrete"]["specified_strength"]
    jobs.revise_plan(actor=operations, building=building, document=document, note="")
    assert concrete(building) == {"placed_on": "2026-04-07"}
    document["concrete"]["sufficient_strength"] = "2000 psi"
    jobs.revise_plan(actor=operations, building=building, document=document, note="")
    assert "maturity" in concrete(building)
    assert "standard_cured" not in concrete(building)


def test_the_export_evaluates_to_the_same_result(building: Building, tell: Any) -> None:
    tell(
        complete_entry(MIXTURE),
        complete_entry(EXPECTED),
        warm(8, 6, "57 degF", hours=20),
    )
    tell(warm(8, 19, "60 degF"), cured(30, "3600 psi"), cured(30, "3450 psi"))
    exported = build_building_document(building)
    assert evaluate(parse_building(exported)) == Evaluation.objects.latest("pk").result


def test_an_export_that_comes_back_as_the_plan_counts_nothing_twice(
    building: Building, operations: Person, tell: Any
) -> None:
    tell(
        complete_entry(MIXTURE),
        complete_entry(EXPECTED),
        warm(8, 6, "57 degF", hours=20),
    )
    tell(warm(8, 19, "60 degF"), cured(30, "3600 psi"), cured(30, "3450 psi"))
    before = judged(building)
    exported = {
        k: v for k, v in build_building_document(building).items() if k != "readings"
    }
    jobs.revise_plan(actor=operations, building=building, document=exported, note="")
    assert concrete(building) == exported["concrete"]
    later = tell(warm(9, 19, "60 degF"), cured(30, "3600 psi"))
    assert len(later.stored) == 2
    assert len(concrete(building)["standard_cured"]) == 3
    gained = judged(building)["forecast"]["maturity_now"]
    day = 24 * (60 - 32) / 1.8
    assert gained == pytest.approx(before["forecast"]["maturity_now"] + day, abs=0.01)


def test_nothing_entered_leaves_the_document_as_it_is(building: Building) -> None:
    assert concrete(building) == shed()["concrete"]


def test_a_release_holds_the_entries_it_rested_on(
    building: Building, operations: Person, measure: Measure, tell: Any
) -> None:
    first = cured(30, "3600 psi")
    tell(first)
    tell(cured(30, "3660 psi", supersedes=first["id"]))
    measure(*as_planned(building, "foundation", "verification"))
    release = sign_release(actor=operations, building=building, kind="ship")
    held = release.record["concrete"]
    assert [row["entry"]["strength"] for row in held] == ["3600 psi", "3660 psi"]
    assert held[1]["supersedes"] == first["id"]
    assert held[1]["recorded_by"]["name"]
    document = release.record["plan"]["document"]
    assert document["concrete"]["standard_cured"] == ["3660 psi"]
    assert find_verified_release(release.digest) == release
    shown = read_release_record(release).concrete
    assert [row["replaced"] for row in shown] == [True, False]
    assert shown[1]["text"] == "3660 psi"
    _, table = known_on_paper(release.record)
    assert "3660 psi" in str(table)
    assert "replaced by a later one" in str(table)
    assert list(known_on_paper({})) == []


def test_the_trail_tells_who_entered_what(
    job: Job, building: Building, engineer: Person, tell: Any
) -> None:
    tell(
        warm(8, 6, "14 degC", hours=20),
        warm(8, 18, "15 degC"),
        complete_entry(EXPECTED),
    )
    record_concrete(actor=engineer, building=building, entries=[cured(30, "26 MPa")])
    told = words_of(job)
    both = "expected temperatures, temperature (3 entries)"
    assert ("Fern", f"Concrete data recorded: {both}") in told
    assert ("Emery", "Concrete data recorded: standard-cured test") in told


def test_a_release_of_before_there_were_entries_still_verifies(
    building: Building, operations: Person, measure: Measure
) -> None:
    measure(*as_planned(building, "foundation", "verification"))
    release = sign_release(actor=operations, building=building, kind="ship")
    with pgtrigger.ignore("checks.Release:append_only"):
        del release.record["concrete"]
        release.digest = sha256_of(release.record)
        release.save()
    assert find_verified_release(release.digest) == release
