"""Results are stored small, and only as long as something refers to them."""

from typing import Any

import pytest
from django.db import DatabaseError, connection, transaction

from checks.models import Decision, Evaluation, EvaluationSupplement, Finding
from jobs.models import Building
from tests.checks.conftest import Measure, entry
from tests.checks.decided_findings import old_reading

pytestmark = pytest.mark.django_db


def list_kept_results(building: Building) -> list[bool]:
    rows = Evaluation.objects.filter(building=building).order_by("pk")
    return [result is not None for result in rows.values_list("result", flat=True)]


def test_a_result_comes_back_as_it_was_stored(
    building: Building, measure: Measure
) -> None:
    measure(entry("level:S1", "1000 mm"))
    evaluation = Evaluation.objects.get(building=building)
    assert evaluation.result["format"] == "padstone.result/1"
    counts: dict[str, int] = {}
    for row in evaluation.result["checks"]:
        counts[row["verdict"]] = counts.get(row["verdict"], 0) + 1
    assert evaluation.summary["verdicts"] == counts
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT octet_length(result) FROM checks_evaluation WHERE id = %s",
            [evaluation.pk],
        )
        (size,) = cursor.fetchone()
    assert size < len(repr(evaluation.result)) / 5


def test_a_later_evaluation_replaces_the_result_before(
    building: Building, measure: Measure
) -> None:
    for height in ("1000 mm", "1001 mm", "1002 mm"):
        measure(entry("level:S1", height))
    assert list_kept_results(building) == [False, False, True]
    older = Evaluation.objects.filter(building=building, result=None)
    assert all(each.summary["verdicts"] and each.input_digest for each in older)


def test_a_result_that_a_finding_refers_to_islist_kept_results(
    building: Building, low_pad: Finding, measure: Measure
) -> None:
    # Measured again within: the finding closes, and keeps what closed it.
    measure(entry("level:S2", "1000 mm", supersedes=old_reading(building)))
    closed = Finding.objects.get(pk=low_pad.pk)
    assert closed.state == Finding.State.CLOSED
    measure(entry("level:S2", "1000 mm"))
    assert closed.evaluation.result is not None
    assert Evaluation.objects.filter(building=building, result=None).exists()


@pytest.mark.parametrize(
    "change",
    [
        {"input_digest": "0" * 64},
        {"summary": {}},
        {"result": {"format": "another"}},
        {"result": None, "made_with": "another"},
    ],
)
def test_nothing_else_of_an_evaluation_changes(
    building: Building, measure: Measure, change: dict[str, Any]
) -> None:
    measure(entry("level:S1", "1000 mm"))
    with pytest.raises(DatabaseError), transaction.atomic():
        Evaluation.objects.filter(building=building).update(**change)
    with pytest.raises(DatabaseError), transaction.atomic():
        Evaluation.objects.filter(building=building).delete()


def test_the_database_keeps_the_latest_result_and_those_referred_to(
    building: Building, low_pad: Finding, measure: Measure
) -> None:
    measure(entry("level:S2", "1000 mm", supersedes=old_reading(building)))
    measure(entry("level:S2", "1000 mm"))
    for kept in Evaluation.objects.filter(building=building, result__isnull=False):
        with pytest.raises(DatabaseError, match="drop"), transaction.atomic():
            Evaluation.objects.filter(pk=kept.pk).update(result=None)


def test_every_row_that_refers_to_evaluations_is_thought_of() -> None:
    # `drop_replaced_results` names the first two; a supplement has members of its own.
    fields = Evaluation._meta.get_fields(include_hidden=True)
    referring = {each.related_model for each in fields if each.auto_created}
    assert referring - {None} == {Finding, Decision, EvaluationSupplement}
