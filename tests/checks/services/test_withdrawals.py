"""Withdrawn readings: kept with their reason, out of everything that counts."""

from typing import Any

import pytest
from django.core.exceptions import PermissionDenied, ValidationError
from django.db import ProgrammingError, connection, transaction
from django.test import Client

from checks.evaluation_input import build_building_document
from checks.models import Finding, Reading, ReadingWithdrawal
from checks.reading_times import load_reading_times
from checks.services.errors import ConflictError
from checks.services.releases import sign_release
from checks.services.withdrawals import withdraw_reading
from core.models import Person
from jobs.models import Building
from tests.checks.conftest import Measure, as_planned, entry
from tests.checks.decided_findings import fresh, level, old_reading
from tests.checks.views.addresses import url

pytestmark = pytest.mark.django_db
REASON = "The rod stood on a stone."


def reading_of(building: Building, key: str = "level:S2") -> Reading:
    return Reading.objects.get(building=building, check_key=key)


def test_a_withdrawn_reading_is_kept_and_does_not_count(
    low_pad: Finding, building: Building, field_lead: Person
) -> None:
    withdraw_reading(
        actor=field_lead, reading=reading_of(building), reason=f" {REASON} "
    )
    row = reading_of(building)
    assert (row.withdrawn, row.withdrawal.withdrawn_by) == (REASON, field_lead)
    current = Reading.objects.filter(building=building).current()
    assert [each.check_key for each in current] == ["level:S1"]
    assert set(load_reading_times(building).by_check) == {"level:S1"}
    document = build_building_document(building)
    assert [each.get("withdrawn") for each in document["readings"]] == [None, REASON]
    # The finding waits for a reading that counts.
    assert fresh(low_pad).state == Finding.State.OPEN


def test_the_finding_closes_once_it_is_measured_again(
    low_pad: Finding, building: Building, field_lead: Person, measure: Measure
) -> None:
    withdraw_reading(actor=field_lead, reading=reading_of(building), reason=REASON)
    measure(entry("level:S2", "1000 mm"))
    assert fresh(low_pad).closed_reason == Finding.ClosedReason.WITHIN


def test_it_needs_a_reason_and_a_reading_that_counts(
    low_pad: Finding,
    building: Building,
    field_lead: Person,
    stranger: Person,
    measure: Measure,
) -> None:
    row = reading_of(building)
    for reason in (" ", "x" * 501, "\0"):
        with pytest.raises(ValidationError):
            withdraw_reading(actor=field_lead, reading=row, reason=reason)
    with pytest.raises(PermissionDenied):
        withdraw_reading(actor=stranger, reading=row, reason=REASON)
    measure(level("1006 mm", old_reading(building)))
    with pytest.raises(ConflictError, match="replaced"):
        withdraw_reading(actor=field_lead, reading=row, reason=REASON)
    last = Reading.objects.get(building=building, client_id=old_reading(building))
    withdraw_reading(actor=field_lead, reading=last, reason=REASON)
    with pytest.raises(ConflictError, match="withdrawn already"):
        withdraw_reading(actor=field_lead, reading=last, reason=REASON)
    assert not Reading.objects.filter(check_key="level:S2").current()


def test_a_withdrawal_is_never_changed(
    low_pad: Finding, building: Building, field_lead: Person
) -> None:
    withdraw_reading(actor=field_lead, reading=reading_of(building), reason=REASON)
    for statement in (
        "UPDATE checks_readingwithdrawal SET reason = 'x'",
        "DELETE FROM checks_readingwithdrawal",
    ):
        with (
            pytest.raises(ProgrammingError, match="Cannot update or delete"),
            transaction.atomic(),
            connection.cursor() as cursor,
        ):
            cursor.execute(statement)


def test_an_entry_that_comes_withdrawn_is_stored_so_and_comes_back_as_a_repeat(
    building: Building, measure: Measure, field_lead: Person
) -> None:
    sent = entry("level:S2", "1006 mm", withdrawn=REASON)
    stored = measure(entry("level:S1", "1000 mm"), sent).stored
    assert stored[1].withdrawn == REASON
    assert ReadingWithdrawal.objects.get().withdrawn_by == field_lead
    assert not Finding.objects.filter(building=building)
    assert measure(sent).repeated
    # What was withdrawn here, and exported, is the same reading when it comes back.
    withdraw_reading(
        actor=field_lead, reading=reading_of(building, "level:S1"), reason="Wrong pad."
    )
    back = build_building_document(building)["readings"]
    answer = measure(*back)
    assert (len(answer.repeated), answer.refused) == (2, [])
    long = entry("level:S3", "1 m", withdrawn="x" * 501)
    assert measure(long).refused[0].pointer == "/readings/0/withdrawn"


def test_the_release_says_what_was_withdrawn(
    building: Building, measure: Measure, operations: Person
) -> None:
    measure(*as_planned(building, "foundation", "verification"))
    spare = measure(entry("level:S2", "1012 mm")).stored[0]
    withdraw_reading(actor=operations, reading=spare, reason=REASON)
    record = sign_release(actor=operations, building=building, kind="ship").record
    rows = {row["id"]: row["withdrawn"] for row in record["readings"]}
    assert rows.pop(spare.client_id) == REASON
    assert set(rows.values()) == {None}


def test_it_is_withdrawn_on_the_page_of_its_check(
    low_pad: Finding, building: Building, field_lead: Person, client: Client
) -> None:
    backend = "django.contrib.auth.backends.ModelBackend"
    client.force_login(field_lead, backend=backend)
    page = url("check", building.pk, "level:S2")
    assert "Withdraw this reading" in client.get(page).content.decode()
    address = url("withdraw_reading", building.pk, reading_of(building).pk)
    empty: Any = client.post(address, {"reason": ""}, follow=True)
    assert "Write why this reading does not count." in empty.content.decode()
    after = client.post(address, {"reason": REASON}, follow=True).content.decode()
    assert f"<s>{reading_of(building).entered}</s>" in after
    assert REASON in after
    assert "Withdraw this reading" not in after
    for other in ("finding", "reading_history"):
        pk = low_pad.pk if other == "finding" else building.pk
        assert f"withdrawn: {REASON}" in client.get(url(other, pk)).content.decode()
