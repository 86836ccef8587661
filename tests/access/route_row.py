"""One line of the table: an address, what is sent to it, and what is answered."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any
from uuid import uuid4

from django.core.files.uploadedfile import SimpleUploadedFile

from checks.models import Reading
from jobs.accounts.invitations import make_token
from tests.access.fixtures import Place, third_store
from tests.api.samples import entry
from tests.factories import PASSWORD
from tests.images import photo
from tests.jobs.notifications.samples import calendar_token, stop_token, webhook_of

Codes = tuple[int, int, int, int, int, int]
Body = dict[str, Any]


@dataclass(frozen=True)
class Row:
    """One address with one method, and what each kind of visitor is answered."""

    name: str
    codes: Codes
    method: str = "GET"
    args: Callable[[Place], list[Any]] = lambda place: []
    body: Callable[[Place], Body] = lambda place: {}
    multipart: bool = False  # as every page's form is; the interface's are JSON


def on_job(place: Place) -> list[Any]:
    return [place.job.pk]


def on_building(place: Place) -> list[Any]:
    return [place.building.pk]


def on_reading(place: Place) -> list[Any]:
    return [place.building.pk, _find_last_reading(place).pk]


def on_reading_by_id(place: Place) -> list[Any]:
    return [place.building.pk, _find_last_reading(place).client_id]


def _find_last_reading(place: Place) -> Reading:
    rows = Reading.objects.filter(building=place.building).current()
    return rows.order_by("-pk")[0]


def on_reevaluation(place: Place) -> list[Any]:
    return [place.reevaluation.pk]


def on_finding(place: Place) -> list[Any]:
    return [place.open.pk]


def on_decision(place: Place) -> list[Any]:
    return [place.made.pk]


def on_work(place: Place) -> list[Any]:
    return [place.done.pk]


def on_release(place: Place) -> list[Any]:
    return [place.release.pk]


def on_webhook(place: Place) -> list[Any]:
    return [webhook_of(place.job).pk]


def on_stop(place: Place) -> list[Any]:
    return [stop_token(place.job)]


def on_calendar(place: Place) -> list[Any]:
    return [calendar_token(place.job)]


def on_person(place: Place) -> list[Any]:
    return [place.device.person_id]


def on_passkey(place: Place) -> list[Any]:
    return [place.passkey.pk]


def on_link(place: Place) -> list[Any]:
    return [make_token(place.invitation)]


def blanks(place: Place) -> Body:
    return {"name": "", "note": ""}


def order(place: Place) -> Body:
    return {
        "choice": 0,
        "disposition": "rework",
        "note": "Shim.",
        "password": PASSWORD,
    }


def order_together(place: Place) -> Body:
    return {**order(place), "choice": "shim", "findings": [place.open.pk]}


def ship(place: Place) -> Body:
    return {"kind": "ship", "password": PASSWORD}


def measured(place: Place) -> Body:
    return {"readings": [entry("level:R1", "1 m")]}


def photographed(place: Place) -> Body:
    file = SimpleUploadedFile("plate.jpg", photo(), "image/jpeg")
    return {"photographs": [file], "batch": str(uuid4())}


def revised(place: Place) -> Body:
    return {**third_store(), "shim_thicknesses": ['1/8"']}


# anonymous, stranger, field lead, engineer, operations, administrator
ANYBODY: Codes = (200, 200, 200, 200, 200, 200)
NOBODY: Codes = (404, 404, 404, 404, 404, 404)
PAGE: Codes = (302, 200, 200, 200, 200, 200)
SEEN: Codes = (302, 404, 200, 200, 200, 200)
DRAWN: Codes = (302, 404, 403, 200, 200, 200)
MANAGED: Codes = (302, 404, 403, 403, 200, 200)
SIGNED: Codes = (302, 404, 403, 403, 200, 403)
OFFICE: Codes = (302, 200, 403, 403, 200, 200)
HOUSE: Codes = (302, 404, 403, 403, 403, 302)
API: Codes = (401, 200, 200, 200, 200, 200)
API_SEEN: Codes = (401, 404, 200, 200, 200, 200)
API_DRAWN: Codes = (401, 404, 403, 201, 201, 201)
