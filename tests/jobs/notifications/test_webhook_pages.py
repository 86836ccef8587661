"""The pages where webhooks are looked after."""

import re
from collections.abc import Iterator

import pytest
from django.test import Client
from django.urls import reverse

from core.models import Person
from jobs.models import Job
from jobs.notifications.models import Delivery, Webhook
from tests import factories
from tests.jobs.notifications.samples import EVERYTHING, webhook_of
from tests.jobs.notifications.webhook_receiver import Receiver, receiving, say

pytestmark = pytest.mark.django_db


@pytest.fixture
def receiver(settings) -> Iterator[Receiver]:
    settings.WEBHOOKS_LOCAL = True
    with receiving() as running:
        yield running


@pytest.fixture
def manager(client: Client, operations: Person) -> Client:
    client.force_login(operations)
    return client


def registered(client: Client, **said: object):
    page = reverse("notifications:webhooks")
    return client.post(page, {"events": EVERYTHING, "job": "", "url": "", **said})


def test_an_address_is_registered_and_its_secret_shown_this_once(
    manager: Client, job: Job
) -> None:
    url = "https://Example.org:443/told"
    page = registered(manager, job=job.number, url=url)
    webhook = Webhook.objects.get()
    assert (webhook.job, webhook.url) == (job, "https://example.org/told")
    (secret,) = re.findall(r"<code class=\"digest\">([^<]{44})</code>", page.text)
    assert "no-store" in page.headers["Cache-Control"]
    again = manager.get(reverse("notifications:webhook", args=[webhook.pk])).text
    assert secret not in again
    assert f"webhook-{webhook.pk}" in again
    assert "hmac-sha256" in again
    assert webhook.url in manager.get(reverse("notifications:webhooks")).text


@pytest.mark.parametrize(
    ("said", "why"),
    [
        ({"url": "http://example.org/"}, "begins with https://"),
        ({"url": "https://192.168.1.4/"}, "Use an address of the public internet"),
        ({"url": "https://example.org/", "job": "J-0"}, "You have no job with"),
        ({"url": "https://example.org/", "job": ""}, "This field is required"),
        ({"url": "https://example.org/", "events": []}, "This field is required"),
        ({"url": ""}, "This field is required"),
    ],
)
def test_what_is_wrong_stands_beside_its_field(
    said: dict[str, object], why: str, manager: Client, job: Job
) -> None:
    page = registered(manager, **{"job": job.number, **said})
    assert page.status_code == 400
    assert why in page.text
    assert not Webhook.objects.exists()


def test_a_job_one_does_not_see_is_as_one_that_is_not_there(
    manager: Client, stranger: Person
) -> None:
    hidden = factories.job(stranger)
    page = registered(manager, job=hidden.number, url="https://example.org/")
    assert f"You have no job with the number {hidden.number}." in page.text


def test_a_job_one_only_measures_on_is_refused(
    client: Client, job: Job, field_lead: Person, operations: Person
) -> None:
    from core.models import Role
    from jobs.services import create_job, set_membership

    Person.objects.filter(pk=field_lead.pk).update(role=Role.OPERATIONS)
    field_lead.refresh_from_db()
    create_job(actor=field_lead, number="X-1", name="Own", customer="c", site="s")
    set_membership(actor=operations, job=job, person=field_lead, role=Role.FIELD)
    client.force_login(field_lead)
    page = registered(client, job=job.number, url="https://example.org/")
    assert page.status_code == 403


def test_the_list_names_only_what_one_may_look_after(
    manager: Client, job: Job, stranger: Person, administrator: Person, engineer: Person
) -> None:
    mine = webhook_of(job, "https://mine.example/")
    other = webhook_of(factories.job(stranger), "https://theirs.example/")
    page = manager.get(reverse("notifications:webhooks")).text
    assert mine.url in page
    assert other.url not in page
    manager.force_login(administrator)
    page = manager.get(reverse("notifications:webhooks")).text
    assert mine.url in page
    assert other.url in page


def test_the_job_is_filled_in_where_one_comes_from_its_page(
    manager: Client, job: Job
) -> None:
    link = f"{reverse('notifications:webhooks')}?job={job.number}"
    assert link in manager.get(job.get_absolute_url()).text
    assert f'value="{job.number}"' in manager.get(link).text


def test_a_trial_says_what_came_of_it(
    manager: Client, job: Job, receiver: Receiver
) -> None:
    webhook = webhook_of(job, receiver.url)
    trial = reverse("notifications:webhook_test", args=[webhook.pk])
    assert "The test event was accepted: 204." in manager.post(trial, follow=True).text
    receiver.reply = say(301, Location="/elsewhere")
    page = manager.post(trial, follow=True).text
    assert "The response was 301; redirects are not followed." in page
    assert Delivery.objects.count() == 2


def test_it_is_switched_off_and_on_and_removed(manager: Client, job: Job) -> None:
    webhook = webhook_of(job)

    def press(name: str, **said: str) -> str:
        address = reverse(f"notifications:webhook_{name}", args=[webhook.pk])
        return str(manager.post(address, said, follow=True).text)

    assert "Switched off by Olive." in press("switch", on="no")
    assert "Switched off by Olive." not in press("switch", on="yes")
    press("remove")
    assert not Webhook.objects.exists()


def test_a_page_takes_as_many_queries_for_many_deliveries_as_for_one(
    manager: Client, job: Job, django_assert_max_num_queries
) -> None:
    webhook = webhook_of(job)
    page = reverse("notifications:webhook", args=[webhook.pk])
    Delivery.objects.create(webhook=webhook)
    manager.get(page)
    with django_assert_max_num_queries(20) as few:
        manager.get(page)
    Delivery.objects.bulk_create(Delivery(webhook=webhook) for _ in range(60))
    with django_assert_max_num_queries(len(few)):
        assert manager.get(page).text.count('data-label="Attempts"') == 50


def test_the_list_takes_as_many_queries_for_many_webhooks_as_for_one(
    manager: Client, job: Job, django_assert_max_num_queries
) -> None:
    page = reverse("notifications:webhooks")
    webhook_of(job)
    manager.get(page)
    with django_assert_max_num_queries(20) as few:
        manager.get(page)
    for _ in range(5):
        webhook_of(job)
    with django_assert_max_num_queries(len(few)):
        manager.get(page)
