"""The pages and the command of a re-evaluation."""

from io import StringIO

import pytest
from django.core.management import CommandError, call_command
from django.test import Client
from django.urls import reverse

from checks.models import Reevaluation
from checks.services.reevaluation import prepare_batches, start_reevaluation
from core.models import Person
from jobs.models import Building, Job
from tests import factories
from tests.example_buildings import shed

pytestmark = pytest.mark.django_db
QUERIES_OF_THE_LIST = 6


@pytest.fixture
def manager(client: Client, operations: Person) -> Client:
    client.force_login(operations)
    return client


def test_a_run_is_started_and_followed_on_its_page(
    manager: Client, building: Building, django_capture_on_commit_callbacks
) -> None:  # fmt: skip
    with django_capture_on_commit_callbacks() as queued:
        answer = manager.post(reverse("checks:reevaluations"), {"reason": "basis"})
    run = Reevaluation.objects.get()
    assert answer.url == run.get_absolute_url()
    page = manager.get(answer.url).content.decode()
    assert "0 of 1 buildings finished" in page
    assert "every 2s" in page
    for call in queued:
        call()
    part = manager.get(answer.url, headers={"HX-Request": "true"}).content.decode()
    assert "1 of 1 buildings finished" in part
    assert "<html" not in part
    assert "every 2s" not in part  # nothing more will change


def test_the_list_takes_a_constant_number_of_queries(
    manager: Client,
    building: Building,
    operations: Person,
    django_assert_max_num_queries,
) -> None:  # fmt: skip
    for _ in range(5):
        start_reevaluation(actor=operations, reason="settings")
    with django_assert_max_num_queries(QUERIES_OF_THE_LIST):
        manager.get(reverse("checks:reevaluations"))


def test_the_command_evaluates_here_and_shows_a_bar(
    job: Job, operations: Person
) -> None:
    for number in range(12):
        factories.building(job, operations, shed(name=f"Shed {number}"))
    out = StringIO()
    call_command("reevaluate", by="olive", reason="settings", here=True, stdout=out)
    text = out.getvalue()
    assert "10/12 (83 %)" in text
    assert f"[{'#' * 30}] 12/12 (100 %)" in text
    assert "0 failed" in text


def test_the_command_resumes_a_run(building: Building, operations: Person) -> None:
    run = start_reevaluation(actor=operations, reason="settings")
    prepare_batches(run.pk)  # and every message is lost
    out = StringIO()
    call_command("reevaluate", by="olive", resume=run.pk, stdout=out)
    assert "1/1 (100 %)" in out.getvalue()
    with pytest.raises(CommandError, match="no run 999999"):
        call_command("reevaluate", by="olive", resume=999_999, stdout=out)
