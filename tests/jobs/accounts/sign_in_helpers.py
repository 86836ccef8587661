"""Whether somebody is signed in, and could be."""

from django.contrib.auth import authenticate
from django.test import Client, RequestFactory
from django.urls import reverse

from core.models import Person
from tests.factories import PASSWORD


def signed_in(person: Person) -> Client:
    client = Client()
    client.post(reverse("sign-in"), {"username": person.username, "password": PASSWORD})
    return client


def may_sign_in(person: Person) -> bool:
    request = RequestFactory().post("/sign-in/")
    return bool(authenticate(request, username=person.username, password=PASSWORD))


def open_to(client: Client) -> bool:
    return client.get(reverse("account")).status_code == 200
