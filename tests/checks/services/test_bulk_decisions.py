"""Findings that say the same: one row, one note, one signature, a decision each."""

from datetime import timedelta
from typing import Any

import pytest
from django.core.exceptions import PermissionDenied, ValidationError
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils.timezone import localtime, now

from checks.models import Decision, Finding, FindingEvent, Reading
from checks.queries.finding_groups import find_group, group_findings
from checks.services.bulk_decisions import (
    bulk_decide_findings,
    bulk_request_remeasurement,
)
from checks.services.errors import ConflictError
from checks.services.findings import request_remeasurement
from checks.services.readings import record_readings
from core.models import Person
from jobs.models import Building
from tests import factories
from tests.checks.conftest import Measure, as_planned, entry
from tests.checks.decided_findings import fresh
from tests.example_buildings import shed

pytestmark = pytest.mark.django_db
ORDER = {"choice": "shim", "disposition": "rework", "note": "Shim and grout."}


@pytest.fixture
def signed_in(client: Client) -> Any:
    def sign_in(person: Person) -> Client:
        client.force_login(person, backend="django.contrib.auth.backends.ModelBackend")
        return client

    return sign_in


@pytest.fixture
def low(building: Building, measure: Measure) -> list[Finding]:
    """Return three pads 6 mm below the highest, and one that is lower still."""
    marks = {"S1": 1000, "S2": 1006, "S3": 1006, "N1": 1006, "N2": 1009}
    measure(*(entry(f"level:{mark}", f"{mm} mm") for mark, mm in marks.items()))
    names = [f"level:{mark}" for mark in ("S2", "S3", "N1")]
    return list(Finding.objects.filter(building=building, topic__in=names))


@pytest.fixture
def a_foot_long(building: Building, measure: Measure) -> list[Finding]:
    """Return the positions of a wall whose running dimensions are all a foot long."""
    sent = as_planned(building, "foundation")
    for each in sent:
        if each["check"].startswith("line:S"):
            mm = float(each["value"].removesuffix(" mm")) + 304.8
            each["value"] = f"{mm:.3f} mm"
    measure(*sent)
    return list(Finding.objects.filter(building=building).open())


def page_of(finding: Finding) -> str:
    return reverse("checks:bulk_decision", args=[finding.pk])


def form(findings: list[Finding], **changed: Any) -> dict[str, Any]:
    seen = " ".join(f"{f.pk}:{f.events.latest('pk').pk}" for f in findings)
    return {
        **ORDER,
        "findings": [finding.pk for finding in findings],
        "password": factories.PASSWORD,
        "seen": seen,
        **changed,
    }


def own_reading(building: Building, check: str, person: Person) -> None:
    """Let somebody measure a pad again, to the same result."""
    old = Reading.objects.current().get(building=building, check_key=check)
    again = entry(check, old.entered, supersedes=old.client_id)
    record_readings(actor=person, building=building, entries=[again])


# Which are alike


def test_findings_with_one_cause_are_one_row(a_foot_long: list[Finding]) -> None:
    assert len(a_foot_long) == 3
    (row,) = group_findings(a_foot_long)
    assert row.has_several
    assert row.label == "Rods at S1, S2, S3"
    assert row.first.proposal == "Measure again"


def test_the_same_proposal_to_the_last_figure_is_one_row(
    low: list[Finding], building: Building
) -> None:
    rows = group_findings(list(Finding.objects.filter(building=building)))
    assert [row.label for row in rows] == ["Pads S2, S3, N1", "Pad N2"]


def test_what_stands_differently_is_a_row_of_its_own(
    low: list[Finding], engineer: Person
) -> None:
    request_remeasurement(actor=engineer, finding=low[0], note="Once more.")
    assert len(find_group(fresh(low[0])).members) == 1
    assert len(find_group(fresh(low[1])).members) == 2


def test_other_buildings_stay_apart(
    low: list[Finding], building: Building, operations: Person, field_lead: Person
) -> None:
    other = factories.building(building.job, operations, shed(name="Twin"))
    sent = [entry("level:S1", "1000 mm"), entry("level:S2", "1006 mm")]
    record_readings(actor=field_lead, building=other, entries=sent)
    rows = group_findings(list(Finding.objects.all().order_by("pk")))
    assert sorted(len(row.members) for row in rows) == [1, 1, 3]


# Decided together


def test_each_finding_gets_its_own_decision(
    low: list[Finding], engineer: Person
) -> None:
    made = bulk_decide_findings(actor=engineer, findings=low, **ORDER)
    assert [each.finding_id for each in made] == [finding.pk for finding in low]
    assert len({each.digest for each in made}) == 3
    for finding in low:
        assert fresh(finding).state == Finding.State.DECIDED
        assert [e.kind for e in finding.events.all()] == ["opened", "decided"]


def test_all_or_none_where_one_was_measured_by_the_same_person(
    low: list[Finding], building: Building, engineer: Person
) -> None:
    own_reading(building, "level:S3", engineer)
    with pytest.raises(PermissionDenied, match="Pad S3: You recorded"):
        bulk_decide_findings(actor=engineer, findings=low, **ORDER)
    assert not Decision.objects.exists()
    assert fresh(low[0]).state == Finding.State.OPEN


def test_all_or_none_where_one_changed_meanwhile(
    low: list[Finding], engineer: Person, operations: Person
) -> None:
    seen = {finding.pk: finding.events.get().pk for finding in low}
    request_remeasurement(actor=operations, finding=low[-1], note="Check the rod.")
    with pytest.raises(ConflictError, match="Pad N1: This finding changed"):
        bulk_decide_findings(actor=engineer, findings=low, seen=seen, **ORDER)
    assert not Decision.objects.exists()


@pytest.mark.parametrize(
    ("changed", "member", "told"),
    [
        ({"choice": "slot"}, "choice", "Pad S2: The remedy"),
        ({"choice": "remeasure"}, "choice", "Pad S2: "),
        ({"disposition": "use_as_is"}, "disposition", "“Use as is” fits"),
        ({"choice": "refer", "note": " "}, "note", "Write the reason"),
    ],
)
def test_an_order_that_makes_no_sense_is_refused(
    low: list[Finding], engineer: Person, changed: Any, member: str, told: str
) -> None:
    with pytest.raises(ValidationError) as refused:
        bulk_decide_findings(actor=engineer, findings=low, **{**ORDER, **changed})
    (message,) = refused.value.message_dict[member]
    assert message.startswith(told)
    assert not Decision.objects.exists()


def test_nothing_and_two_buildings_are_refused(
    low: list[Finding], building: Building, operations: Person, field_lead: Person
) -> None:
    other = factories.building(building.job, operations, shed(name="Twin"))
    sent = [entry("level:S1", "1000 mm"), entry("level:S2", "1006 mm")]
    record_readings(actor=field_lead, building=other, entries=sent)
    for findings in ([], list(Finding.objects.all())):
        with pytest.raises(ValidationError) as refused:
            bulk_decide_findings(actor=operations, findings=findings, **ORDER)
        assert "findings" in refused.value.error_dict


def test_another_measurement_is_asked_for_all_of_them(
    a_foot_long: list[Finding], engineer: Person, field_lead: Person
) -> None:
    with pytest.raises(PermissionDenied, match="Rods at S1: "):
        bulk_request_remeasurement(
            actor=field_lead, findings=a_foot_long, note="Again."
        )
    bulk_request_remeasurement(
        actor=engineer, findings=a_foot_long, note="Zero at the corner."
    )
    for finding in a_foot_long:
        assert fresh(finding).state == Finding.State.REMEASURE
    asked = FindingEvent.objects.filter(kind="asked_again")
    assert {event.note for event in asked} == {"Zero at the corner."}
    assert asked.count() == 3
    with pytest.raises(ConflictError, match=r"Rods at S1: .*already"):
        bulk_request_remeasurement(actor=engineer, findings=a_foot_long, note="Again.")


# The pages


def test_the_queue_shows_one_row_and_every_single_one_in_it(
    low: list[Finding], engineer: Person, signed_in: Any
) -> None:
    page = signed_in(engineer).get(reverse("checks:findings"))
    html = page.content.decode()
    assert len(page.context["rows"]) == 2
    assert "Pads S2, S3, N1" in html
    assert f'href="{page_of(low[0])}"' in html
    for finding in low:
        assert f'href="{finding.get_absolute_url()}"' in html


def test_only_the_engineer_is_asked_to_decide_together(
    low: list[Finding], engineer: Person, field_lead: Person, signed_in: Any
) -> None:
    words = [
        " ".join(signed_in(person).get(reverse("checks:findings")).text.split())
        for person in (engineer, field_lead)
    ]
    assert [f"Decide {len(low)} together" in html for html in words] == [True, False]
    assert [f"View {len(low)} together" in html for html in words] == [False, True]
    own = signed_in(field_lead).get(page_of(low[0])).content.decode()
    assert own.count("Only the engineer of this job can decide") == 1
    assert "You recorded readings of this finding" not in own


def test_a_row_is_whole_on_the_page_of_its_first_finding(
    low: list[Finding], engineer: Person, signed_in: Any, monkeypatch: Any
) -> None:
    monkeypatch.setattr("checks.queries.review.FINDINGS_PER_PAGE", 2)
    client = signed_in(engineer)
    first = client.get(reverse("checks:findings")).context["rows"]
    second = client.get(reverse("checks:findings"), {"page": 2}).context["rows"]
    assert [len(row.group.members) for row in first] == [3]
    assert [row.label for row in second] == ["Pad N2"]


def test_the_engineer_signs_once_for_all(
    low: list[Finding], engineer: Person, signed_in: Any
) -> None:
    client = signed_in(engineer)
    page = client.get(page_of(low[0]))
    assert page.status_code == 200
    wrong = client.post(page_of(low[0]), form(low, password="not this"))
    assert wrong.status_code == 400
    assert "not your password" in wrong.content.decode()
    assert not Decision.objects.exists()
    assert client.post(page_of(low[0]), form(low)).status_code == 302
    assert Decision.objects.count() == 3
    # What is decided can only be asked about once more.
    after = client.get(page_of(low[0])).context["form"].fields["choice"]
    assert [name for name, _ in after.choices] == ["remeasure"]


def test_what_is_not_ticked_is_left_alone(
    low: list[Finding], engineer: Person, signed_in: Any
) -> None:
    client = signed_in(engineer)
    assert client.post(page_of(low[0]), form(low[:2])).status_code == 302
    assert fresh(low[2]).state == Finding.State.OPEN
    none = client.post(page_of(low[2]), {**form(low[2:]), "findings": []})
    assert none.status_code == 400
    assert Decision.objects.count() == 2


def test_the_page_names_whom_it_cannot_be_decided_for(
    low: list[Finding], building: Building, engineer: Person, signed_in: Any
) -> None:
    own_reading(building, "level:S3", engineer)
    client = signed_in(engineer)
    html = client.get(page_of(low[0])).content.decode()
    assert html.count("You recorded readings") == 1
    assert html.count(" checked") >= 2
    answer = client.post(page_of(low[0]), form(low))
    assert answer.status_code == 403
    assert "Pad S3: You recorded readings" in answer.content.decode()
    assert not Decision.objects.exists()
    others = [finding for finding in low if finding.topic != "level:S3"]
    assert client.post(page_of(low[0]), form(others)).status_code == 302


def test_a_page_that_is_out_of_date_decides_nothing(
    low: list[Finding], engineer: Person, operations: Person, signed_in: Any
) -> None:
    client = signed_in(engineer)
    given = form(low)
    request_remeasurement(actor=operations, finding=low[1], note="Check the rod.")
    answer = client.post(page_of(low[0]), given)
    assert answer.status_code == 409
    assert "Pad S3: This finding changed" in answer.content.decode()
    assert not Decision.objects.exists()
    unreadable = client.post(page_of(low[0]), form(low, seen="12;13"))
    assert unreadable.status_code == 400


def test_measuring_again_is_asked_on_the_page_with_the_same_signature(
    a_foot_long: list[Finding], engineer: Person, signed_in: Any
) -> None:
    client = signed_in(engineer)
    first = a_foot_long[0]
    page = client.get(page_of(first))
    assert page.context["form"].initial["choice"] == "remeasure"
    given = form(a_foot_long, choice="remeasure", disposition="", note="Zero first.")
    assert client.post(page_of(first), given).status_code == 302
    assert {f.state for f in map(fresh, a_foot_long)} == {Finding.State.REMEASURE}


def test_findings_of_another_building_are_not_taken_along(
    low: list[Finding], engineer: Person, operations: Person, signed_in: Any
) -> None:
    job = factories.job(operations, engineer=engineer)
    other = factories.building(job, operations, shed(name="Not this one"))
    sent = [entry("level:S1", "1000 mm"), entry("level:S2", "1006 mm")]
    record_readings(actor=operations, building=other, entries=sent)
    far = Finding.objects.get(building=other)
    answer = signed_in(engineer).post(page_of(low[0]), form([*low, far]))
    assert answer.status_code == 400
    assert not Decision.objects.exists()


def test_one_alone_is_shown_on_its_own_page(
    low_pad: Finding, engineer: Person, signed_in: Any
) -> None:
    answer = signed_in(engineer).get(page_of(low_pad))
    assert answer["Location"] == low_pad.get_absolute_url()


def test_pages_take_as_many_queries_however_many_are_alike(
    building: Building,
    low: list[Finding],
    engineer: Person,
    measure: Measure,
    signed_in: Any,
) -> None:
    client = signed_in(engineer)

    def counted() -> list[int]:
        counts = []
        for address in (
            reverse("checks:findings"),
            page_of(low[0]),
            low[0].get_absolute_url(),
        ):
            client.get(address)
            with CaptureQueriesContext(connection) as taken:
                assert client.get(address).status_code == 200
            counts.append(len(taken))
        return counts

    before = counted()
    measure(entry("level:N3", "1006 mm"))
    assert counted() == before
    assert max(before) <= 24


# Measured again, and it stood


def test_what_was_measured_again_and_stood_proposes_what_comes_next(
    a_foot_long: list[Finding],
    building: Building,
    engineer: Person,
    field_lead: Person,
    signed_in: Any,
) -> None:
    bulk_request_remeasurement(actor=engineer, findings=a_foot_long, note="Zero first.")
    later = (now() + timedelta(minutes=1)).isoformat()
    readings = Reading.objects.current().filter(check_key__startswith="line:S")
    again = [
        entry(r.check_key, r.entered, at=later, **members)
        for r in readings
        for members in ({"supersedes": r.client_id, "by": "crew 1"}, {"by": "crew 2"})
    ]
    record_readings(actor=field_lead, building=building, entries=again)
    client = signed_in(engineer)
    finding = fresh(a_foot_long[0])
    assert finding.state == Finding.State.OPEN
    assert finding.remedies[0]["remedy"] == "remeasure"
    page = client.get(finding.get_absolute_url())
    shown = [page.context["proposal"], *page.context["alternatives"]]
    assert [row.index for row in shown[:2]] == [1, 0]
    assert shown[0].why_second == ""
    today = localtime()
    told = f"Measured again on {today.day} {today:%b %Y}"
    assert told in shown[1].why_second
    assert told in page.content.decode()
    queue = client.get(reverse("checks:findings"))
    proposals = {
        row.group.first.finding.topic: row.group.first.proposal
        for row in queue.context["rows"]
    }
    # S3 is so far along the wall that its tape was too coarse: a new proposal there.
    assert proposals.pop("position:S3") == "Measure again"
    assert proposals
    assert "Measure again" not in proposals.values()
    assert "measured again" in queue.content.decode()
    whole = client.get(building.get_absolute_url())
    listed = {row.finding.topic: row.proposal for row in whole.context["findings"]}
    assert {topic for topic, word in listed.items() if word == "Measure again"} == {
        "position:S3"
    }


def test_it_is_proposed_again_where_another_reason_came_up() -> None:
    from checks.queries.finding_groups import find_remeasurement

    finding = Finding(remedies=[{"remedy": "remeasure"}, {"remedy": "refer"}])
    steps = [
        ("asked_again", ""),
        ("changed", FindingEvent.Code.STILL_OUTSIDE),
        ("changed", FindingEvent.Code.NEW_PROPOSAL),
    ]
    events = [
        FindingEvent(pk=pk, kind=kind, code=code, at=now())
        for pk, (kind, code) in enumerate(steps)
    ]
    assert find_remeasurement(finding, events[:1]) is None
    assert find_remeasurement(finding, events[:2]) is not None
    assert find_remeasurement(finding, events) is None
    assert find_remeasurement(finding, [events[1]]) is None
