"""Where a person is signed in: what is kept of it, and that ending it ends it."""

from datetime import timedelta

import pytest
from django.contrib.sessions.models import Session
from django.core.cache import caches
from django.core.management import call_command
from django.db import DatabaseError, transaction
from django.test import Client, override_settings
from django.urls import reverse
from django.utils.timezone import now
from knox.models import AuthToken

from core import devices, settings
from core.models import Device, Person, Role
from core.tasks import delete_expired_sessions
from tests.factories import PASSWORD

pytestmark = pytest.mark.django_db
PHONE = "Mozilla/5.0 (Android 14; Mobile; rv:131.0) Gecko/131.0 Firefox/131.0"


def signed_in(person: Person, user_agent: str = PHONE) -> Client:
    client = Client(headers={"user-agent": user_agent})
    entry = {"username": person.username, "password": PASSWORD}
    client.post(reverse("sign-in"), entry)
    return client


def is_signed_in(client: Client) -> bool:
    return client.get(reverse("account")).status_code == 200


@pytest.mark.parametrize(
    ("user_agent", "family"),
    [
        (PHONE, "Firefox on Android"),
        (
            "Mozilla/5.0 (iPhone; CPU iPhone OS 18_1 like Mac OS X) AppleWebKit/605.1"
            " (KHTML, like Gecko) Version/18.1 Mobile/15E148 Safari/604.1",
            "Safari on iOS",
        ),
        (
            "Mozilla/5.0 (Windows NT 10.0; Win64; x64) AppleWebKit/537.36"
            " (KHTML, like Gecko) Chrome/130.0 Safari/537.36 Edg/130.0",
            "Edge on Windows",
        ),
        (
            "Mozilla/5.0 (X11; Linux x86_64) AppleWebKit/537.36 (KHTML, like Gecko)"
            " Chrome/130.0 Safari/537.36",
            "Chrome on Linux",
        ),
        ("", "unknown browser"),
        ("<script>alert(1)</script>", "unknown browser"),
    ],
)
def test_a_device_is_told_by_browser_and_system_alone(
    user_agent: str, family: str
) -> None:
    assert devices.describe_user_agent(user_agent) == family


def test_signing_in_is_on_record_with_no_key_that_signs_in(field_lead: Person) -> None:
    client = signed_in(field_lead)
    device = Device.objects.get()
    key = client.session.session_key
    assert (device.person, device.family) == (field_lead, "Firefox on Android")
    assert key
    assert key not in str(vars(device))
    assert device.session_hash == devices.hash_session_key(key)
    assert list(Device.objects.signed_in()) == [device]


def test_who_is_not_signed_in_leaves_no_device(client: Client) -> None:
    client.get(reverse("sign-in"))
    client.get(reverse("account"))
    assert not Device.objects.exists()


@override_settings(CACHES=settings.CACHES)
def test_a_device_is_noticed_once_in_a_while(field_lead: Person) -> None:
    caches["devices"].clear()
    client = signed_in(field_lead)
    first = Device.objects.get()
    client.get(reverse("account"))
    assert Device.objects.get().last_seen_at == first.last_seen_at
    caches["devices"].clear()
    client.get(reverse("account"))
    again = Device.objects.get()
    assert again.last_seen_at > first.last_seen_at
    assert again.first_seen_at == first.first_seen_at


def test_one_of_ones_devices_is_signed_out(field_lead: Person) -> None:
    here, lost = signed_in(field_lead), signed_in(field_lead)
    gone = Device.objects.order_by("pk").last()
    assert gone
    here.post(reverse("sign-out-device", args=[gone.pk]))
    assert is_signed_in(here)
    assert not is_signed_in(lost)
    gone.refresh_from_db()
    assert gone.ended_at is not None


def test_nobody_signs_out_anothers_device(field_lead: Person, engineer: Person) -> None:
    theirs, mine = signed_in(engineer), signed_in(field_lead)
    device = Device.objects.of(engineer).get()
    address = reverse("sign-out-device", args=[device.pk])
    assert mine.post(address).status_code == 404
    assert is_signed_in(theirs)


def test_everywhere_else_is_signed_out_and_this_device_is_not(
    field_lead: Person, engineer: Person
) -> None:
    here, *others = [signed_in(field_lead) for _ in range(3)]
    somebody = signed_in(engineer)
    page = here.post(reverse("sign-out-others"), follow=True).text
    assert "Signed out on 2 other devices." in page
    assert is_signed_in(here)
    assert not any(is_signed_in(other) for other in others)
    assert is_signed_in(somebody)


def test_the_list_shows_this_device_and_no_ended_one(field_lead: Person) -> None:
    here, other = signed_in(field_lead), signed_in(field_lead, "Windows Chrome/130")
    page = here.get(reverse("account")).text
    assert "this device" in page
    assert "Chrome on Windows" in page
    other.post(reverse("sign-out"))
    assert "Chrome on Windows" not in here.get(reverse("account")).text
    assert Device.objects.exclude(ended_at=None).count() == 1


def test_a_session_that_expired_is_no_device_any_more(field_lead: Person) -> None:
    signed_in(field_lead)
    Session.objects.update(expire_date=now() - timedelta(seconds=1))
    assert not Device.objects.signed_in().exists()
    delete_expired_sessions()
    assert not Session.objects.exists()
    assert Device.objects.count() == 1


def test_a_new_password_keeps_this_device_and_ends_the_others(
    field_lead: Person,
) -> None:
    here, other = signed_in(field_lead), signed_in(field_lead)
    new = "seven steel tapes"
    here.post(
        reverse("change-password"),
        {"old_password": PASSWORD, "new_password1": new, "new_password2": new},
    )
    assert is_signed_in(here)
    assert not is_signed_in(other)
    assert Device.objects.count() == 2
    kept = Device.objects.signed_in().get()
    assert kept.session_hash == devices.hash_session_key(here.session.session_key or "")


def test_everything_of_a_person_is_ended_and_nothing_of_anybody_else(
    field_lead: Person, engineer: Person
) -> None:
    phone, before_devices = signed_in(field_lead), Client()
    before_devices.force_login(field_lead)  # a session no request was made with
    somebody = signed_in(engineer)
    AuthToken.objects.create(user=field_lead)
    AuthToken.objects.create(user=engineer)
    assert devices.end_all_access(field_lead) == (2, 1)
    assert not is_signed_in(phone)
    assert not is_signed_in(before_devices)
    assert is_signed_in(somebody)
    assert AuthToken.objects.get().user == engineer


def test_what_is_known_of_a_sign_in_stays(field_lead: Person) -> None:
    signed_in(field_lead)
    with pytest.raises(DatabaseError, match="Cannot delete"), transaction.atomic():
        Device.objects.all().delete()
    with pytest.raises(DatabaseError, match="Cannot update"), transaction.atomic():
        Device.objects.update(family="another")


def test_the_account_page_asks_as_often_with_many_devices(
    field_lead: Person, django_assert_num_queries: object
) -> None:
    here = signed_in(field_lead)
    here.get(reverse("account"))
    counts = []
    for _ in range(2):
        with django_assert_num_queries(4):  # type: ignore[operator]
            counts.append(here.get(reverse("account")).text.count("<li"))
        signed_in(field_lead)
        signed_in(field_lead)
    assert counts[1] == counts[0] + 2


def test_the_first_account_runs_the_house(db: None) -> None:
    call_command(
        "createsuperuser",
        username="first",
        email="first@example.org",
        interactive=False,
    )
    assert Person.objects.get().role == Role.ADMINISTRATOR
