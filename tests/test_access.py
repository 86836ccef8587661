"""Who may open what: one table of every address and every kind of visitor.

An address that is not in the table fails, and so does one that is not there any more.
"""

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Any
from uuid import uuid4

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import transaction
from django.test import Client
from django.urls import URLPattern, URLResolver, get_resolver, reverse
from django.utils.timezone import now

from api.models import CrewToken
from api.services import make_token
from checks.models import Decision, Finding, Photograph, Release
from checks.services.findings import carry_out, decide
from checks.services.photographs import add_photograph
from checks.services.readings import record_readings
from checks.services.releases import sign_release
from core.devices import hash_of
from core.models import Device, Person
from jobs.models import Building, Job
from jobs.people.invitations import invite, token_of
from jobs.people.models import Invitation
from tests import factories
from tests.api.samples import entry, store
from tests.checks.conftest import as_planned
from tests.factories import PASSWORD
from tests.images import photo
from tests.jobs.notices.samples import calendar_token, stop_token, webhook_of

pytestmark = pytest.mark.django_db

VISITORS = (
    "anonymous",
    "stranger",  # has an account, and works on no job
    "field_lead",
    "engineer",
    "operations",
    "administrator",  # works on no job either, and sees them all
)
Codes = tuple[int, int, int, int, int, int]


def _plan() -> dict[str, Any]:
    document = store(name="Third store")
    for mark, along in (("R3", "60'"), ("R4", "66'")):
        further = {"mark": mark, "wall": "A-B", "along": along, "detail": "F"}
        document["positions"].append(further)
    del document["readings"]
    return document


@dataclass(frozen=True)
class Place:
    """A job with something behind every address."""

    job: Job
    building: Building
    open: Finding
    made: Decision
    done: Decision
    release: Release
    token: CrewToken
    photograph: Photograph
    device: Device
    invitation: Invitation


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


def on_link(place: Place) -> list[Any]:
    return [token_of(place.invitation)]


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
    return {**_plan(), "shim_thicknesses": ['1/8"']}


# anonymous, stranger, field lead, engineer, operations, administrator
ANYBODY: Codes = (200, 200, 200, 200, 200, 200)
NOBODY: Codes = (404, 404, 404, 404, 404, 404)
PAGE: Codes = (302, 200, 200, 200, 200, 200)
SEEN: Codes = (302, 404, 200, 200, 200, 200)
DRAWN: Codes = (302, 404, 403, 200, 200, 200)
MANAGED: Codes = (302, 404, 403, 403, 200, 200)
OFFICE: Codes = (302, 200, 403, 403, 200, 200)
HOUSE: Codes = (302, 404, 403, 403, 403, 302)
API: Codes = (401, 200, 200, 200, 200, 200)
API_SEEN: Codes = (401, 404, 200, 200, 200, 200)
API_DRAWN: Codes = (401, 404, 403, 201, 201, 201)

PAGES = [
    Row("sign-in", (200, 302, 302, 302, 302, 302)),
    Row("sign-out", (302, 302, 302, 302, 302, 302), "POST"),
    Row("account", PAGE),
    Row("sign-out-others", (302, 302, 302, 302, 302, 302), "POST"),
    Row(
        "sign-out-device",
        (302, 404, 302, 404, 404, 404),
        "POST",
        lambda place: [place.device.pk],
    ),
    Row("tokens:list", PAGE),
    Row("tokens:list", PAGE, "POST", body=lambda place: {"name": "a phone", "days": 9}),
    Row(
        "tokens:revoke",
        (302, 404, 302, 404, 404, 404),
        "POST",
        lambda place: [place.token.pk],
    ),
    Row("change-password", PAGE),
    Row("password-changed", PAGE),
    Row("forgotten-password", ANYBODY),
    Row(
        "forgotten-password",
        (302, 302, 302, 302, 302, 302),
        "POST",
        body=lambda place: {"address": "noor@example.org"},
    ),
    Row("set-password", ANYBODY, args=lambda place: ["Mg", "no-such-token"]),
    Row("preferences", (302, 302, 302, 302, 302, 302), "POST"),
    Row("health-live", ANYBODY),
    Row("health-ready", ANYBODY),
    Row("jobs:list", PAGE),
    Row("jobs:new_job", (302, 200, 403, 403, 200, 200)),
    Row("jobs:new_job", (302, 400, 403, 403, 400, 400), "POST", body=blanks),
    Row("jobs:job", SEEN, args=on_job),
    Row("jobs:change_job", MANAGED, args=on_job),
    Row("jobs:change_job", (302, 404, 403, 403, 400, 400), "POST", on_job, blanks),
    Row("jobs:people", (302, 404, 403, 403, 400, 400), "POST", on_job),
    Row("trail", MANAGED, args=on_job),
    Row("checks:trail_table", MANAGED, args=on_job),
    Row("people:list", OFFICE),
    Row("people:invite", (302, 403, 403, 403, 200, 200)),
    Row("people:invite", (302, 403, 403, 403, 400, 400), "POST", body=blanks),
    Row(
        "people:revoke",
        (302, 404, 404, 404, 302, 302),
        "POST",
        lambda place: [place.invitation.pk],
    ),
    # Who is signed in is told to sign out first.
    Row("people:invitation", ANYBODY, args=on_link),
    Row("people:invitation", (400, 200, 200, 200, 200, 200), "POST", on_link, blanks),
    Row("people:person", (302, 404, 403, 403, 200, 200), args=on_person),
    Row(
        "people:change_role",
        (302, 404, 403, 403, 403, 302),
        "POST",
        on_person,
        lambda place: {"role": "operations"},
    ),
    Row("people:close", HOUSE, "POST", on_person),
    Row("people:reopen", HOUSE, "POST", on_person),
    Row("people:sign_out", HOUSE, "POST", on_person),
    Row("people:new_password", HOUSE, "POST", on_person),
    Row("jobs:new_building", DRAWN, args=on_job),
    Row("jobs:new_building", (302, 404, 403, 400, 400, 400), "POST", on_job, blanks),
    Row("jobs:preview_building", DRAWN, "POST", on_job),
    Row("jobs:import_building", DRAWN, args=on_job),
    Row("jobs:import_building", (302, 404, 403, 400, 400, 400), "POST", on_job, blanks),
    Row("jobs:plan", SEEN, args=on_building),
    Row("jobs:revise", DRAWN, args=on_building),
    Row("jobs:revise", (302, 404, 403, 400, 400, 400), "POST", on_building, blanks),
    Row("jobs:document", SEEN, args=lambda place: [place.building.pk, 1]),
    Row("jobs:plan_file", SEEN, args=lambda place: [place.building.pk, 1, "xlsx"]),
    Row("jobs:plan_template", PAGE, args=lambda place: ["xlsx"]),
    Row("building", SEEN, args=on_building),
    Row("checks:position", SEEN, args=lambda place: [place.building.pk, "R1"]),
    Row("checks:check", SEEN, args=lambda place: [place.building.pk, "level:R1"]),
    Row("checks:levels", SEEN, args=on_building),
    Row("checks:shims", SEEN, args=on_building),
    Row("checks:export", SEEN, args=on_building),
    Row("checks:result", SEEN, args=on_building),
    Row("checks:sheet", SEEN, args=on_building),
    Row("checks:measure", SEEN, args=on_building),
    Row("checks:measure", (302, 404, 302, 302, 302, 302), "POST", on_building),
    Row("checks:receive", (302, 404, 400, 400, 400, 400), "POST", on_building),
    Row(
        "checks:receive_photograph",
        (302, 404, 400, 400, 400, 400),
        "POST",
        on_building,
    ),
    Row(
        "checks:photograph",
        SEEN,
        args=lambda place: [place.building.pk, place.photograph.digest],
    ),
    Row(
        "checks:photograph_finding",
        (302, 404, 302, 302, 302, 302),
        "POST",
        on_finding,
        photographed,
    ),
    Row(
        "checks:photograph_work",
        (302, 404, 302, 403, 302, 302),
        "POST",
        on_work,
        photographed,
    ),
    Row("checks:worker", ANYBODY),
    Row("checks:offline", ANYBODY),
    Row("checks:record", SEEN, args=on_building),
    Row("checks:upload", SEEN, args=on_building),
    Row("checks:points", SEEN, args=on_building),
    Row("checks:points", (302, 404, 400, 400, 400, 400), "POST", on_building),
    Row("checks:readings_file", SEEN, args=lambda place: [place.building.pk, "csv"]),
    Row("checks:blank_readings", SEEN, args=lambda place: [place.building.pk, "xlsx"]),
    Row("checks:building_file", SEEN, args=lambda place: [place.building.pk, "dxf"]),
    Row("checks:upload", (302, 404, 400, 400, 400, 400), "POST", on_building),
    Row("checks:instrument", (302, 404, 302, 302, 302, 302), "POST", on_building),
    Row("checks:findings", PAGE),
    Row("checks:finding", SEEN, args=on_finding),
    Row("checks:decide", (302, 404, 403, 302, 302, 403), "POST", on_finding, order),
    Row(
        "checks:ask_again",
        (302, 404, 403, 302, 302, 302),
        "POST",
        on_finding,
        lambda place: {"note": "Once more.", "password": PASSWORD},
    ),
    # One finding alone is shown on its own page.
    Row("checks:together", (302, 404, 302, 302, 302, 302), args=on_finding),
    Row(
        "checks:together",
        (302, 404, 403, 302, 302, 403),
        "POST",
        on_finding,
        order_together,
    ),
    Row(
        "checks:carry_out",
        (302, 404, 302, 403, 302, 302),
        "POST",
        on_decision,
        lambda place: {"at": f"{now():%Y-%m-%dT%H:%M}"},
    ),
    Row("checks:releases", SEEN, args=on_building),
    Row("checks:sign", MANAGED, args=lambda place: [place.building.pk, "ship"]),
    Row(
        "checks:sign",
        (302, 404, 403, 403, 302, 302),
        "POST",
        lambda place: [place.building.pk, "ship"],
        ship,
    ),
    Row("checks:release", SEEN, args=on_release),
    Row("checks:release_pdf", SEEN, args=on_release),
    Row("checks:building_pdf", SEEN, args=on_building),
    Row("checks:sheet_pdf", SEEN, args=on_building),
    Row("checks:shims_pdf", SEEN, args=on_building),
    Row("checks:methods", PAGE),
    Row("checks:method", PAGE, args=lambda place: ["plate-fit"]),
    Row("notices:letters", PAGE),
    Row("notices:letters", (302, 302, 302, 302, 302, 302), "POST", body=blanks),
    Row(
        "notices:calendar_key",
        PAGE,
        "POST",
        body=lambda place: {"do": "make"},
    ),
    # Whoever has one of these links has been sent it, or was given it.
    Row("notices:stop", ANYBODY, args=on_stop),
    Row("notices:stop", ANYBODY, "POST", on_stop),
    Row("notices:calendar", ANYBODY, args=on_calendar),
    Row("notices:webhooks", (302, 200, 403, 403, 200, 200)),
    Row("notices:webhooks", (302, 400, 403, 403, 400, 400), "POST", body=blanks),
    Row("notices:webhook", MANAGED, args=on_webhook),
    Row("notices:webhook_secret", MANAGED, "POST", on_webhook),
    Row("notices:webhook_switch", (302, 404, 403, 403, 302, 302), "POST", on_webhook),
    Row("notices:webhook_trial", (302, 404, 403, 403, 302, 302), "POST", on_webhook),
    Row("notices:webhook_remove", (302, 404, 403, 403, 302, 302), "POST", on_webhook),
    Row("checks:verify", ANYBODY),
    Row("checks:verify_digest", ANYBODY, args=lambda place: [place.release.digest]),
]
INTERFACE = [
    Row("api:evaluate", API, "POST", body=lambda place: _plan()),
    Row("api:jobs", API),
    Row("api:job", API_SEEN, args=on_job),
    Row("api:buildings", API_SEEN, args=on_job),
    Row("api:buildings", API_DRAWN, "POST", on_job, lambda place: store(name="New")),
    Row("api:building", API_SEEN, args=on_building),
    Row("api:plan", API_SEEN, args=on_building),
    Row("api:plan", API_DRAWN, "POST", on_building, revised),
    Row("api:revisions", API_SEEN, args=on_building),
    Row("api:revision", API_SEEN, args=lambda place: [place.building.pk, 1]),
    Row("api:checks", API_SEEN, args=on_building),
    Row("api:readings", API_SEEN, args=on_building),
    Row("api:readings", (401, 404, 201, 201, 201, 201), "POST", on_building, measured),
    Row("api:photographs", API_SEEN, args=on_building),
    Row(
        "api:photographs",
        (401, 404, 201, 201, 201, 201),
        "POST",
        on_building,
        lambda place: {
            "id": str(uuid4()),
            "file": SimpleUploadedFile("plate.jpg", photo(), "image/jpeg"),
        },
        multipart=True,
    ),
    Row(
        "api:photograph",
        API_SEEN,
        args=lambda place: [place.building.pk, place.photograph.digest],
    ),
    Row("api:result", API_SEEN, args=on_building),
    Row("api:document", API_SEEN, args=on_building),
    Row("api:shims", API_SEEN, args=on_building),
    Row("api:findings", API),
    Row("api:finding", API_SEEN, args=on_finding),
    Row("api:decisions", (401, 404, 403, 201, 201, 403), "POST", on_finding, order),
    Row(
        "api:ask-again",
        (401, 404, 403, 200, 200, 200),
        "POST",
        on_finding,
        lambda place: {"note": "Once more."},
    ),
    Row(
        "api:carried-out",
        (401, 404, 201, 403, 201, 201),
        "POST",
        on_decision,
        lambda place: {"at": now().isoformat()},
    ),
    Row("api:releases", API_SEEN, args=on_building),
    Row("api:releases", (401, 404, 403, 403, 409, 409), "POST", on_building, ship),
    Row("api:release", API_SEEN, args=on_release),
    Row("api:verify", ANYBODY, args=lambda place: [place.release.digest]),
    Row("api:me", API),
    Row("api:tokens", API),
    Row(
        "api:tokens",
        (401, 201, 201, 201, 201, 201),
        "POST",
        body=lambda place: {"name": "a phone"},
    ),
    Row(
        "api:token",
        (401, 404, 204, 404, 404, 404),
        "DELETE",
        lambda place: [place.token.pk],
    ),
    Row("api:document-schema", ANYBODY, args=lambda place: ["padstone.building-1"]),
    Row("api:schema", ANYBODY),
    Row("api:docs", ANYBODY),
    Row("api:nothing", NOBODY),
]
TABLE = [*PAGES, *INTERFACE]


def _routes(
    patterns: list[URLPattern | URLResolver], inside: str = ""
) -> Iterator[str]:
    for each in patterns:
        if isinstance(each, URLResolver):
            space = f"{inside}{each.namespace}:" if each.namespace else inside
            yield from _routes(each.url_patterns, space)
        else:
            yield f"{inside}{each.name or each.pattern}"


@pytest.fixture
def place(job: Job, operations: Person, field_lead: Person, engineer: Person) -> Place:
    """Give a building measured as planned but for three low pads, two decided."""
    building = factories.building(job, operations, _plan())
    sent = as_planned(building, "foundation")
    record_readings(actor=field_lead, building=building, entries=sent)
    release = sign_release(actor=operations, building=building, kind="pour")
    low = {"R1": "1 m", "R2": "1006 mm", "R3": "1008 mm", "R4": "1009 mm"}
    levels = [entry(f"level:{mark}", value) for mark, value in low.items()]
    record_readings(actor=field_lead, building=building, entries=levels)
    made, done = (
        decide(
            actor=engineer,
            finding=Finding.objects.get(topic=topic),
            choice=0,
            disposition="rework",
            note="Shim.",
        )
        for topic in ("level:R3", "level:R4")
    )
    carry_out(actor=field_lead, decision=done, at=now())
    added = add_photograph(
        actor=field_lead, building=building, client_id=uuid4(), content=photo()
    )
    token, _ = make_token(actor=field_lead, name="a phone", days=1)
    device = Device.objects.create(
        person=field_lead,
        session_hash=hash_of("a session"),
        family="a phone",
        first_seen_at=now(),
        last_seen_at=now(),
    )
    invitation = invite(
        actor=operations, address="noor@example.org", role="field", jobs=[job]
    )
    undecided = Finding.objects.get(topic="level:R2")
    photograph = added.photograph
    return Place(
        job,
        building,
        undecided,
        made,
        done,
        release,
        token,
        photograph,
        device,
        invitation,
    )


def _answered(row: Row, place: Place, visitor: Person | None) -> int:
    """Ask as this visitor, and leave no trace."""
    client = Client()
    if visitor is not None:
        client.force_login(visitor, "django.contrib.auth.backends.ModelBackend")
    given: dict[str, Any] = {}
    if row.method != "GET":
        given["data"] = row.body(place)
        if row in INTERFACE and not row.multipart:
            given["content_type"] = "application/json"
    address = reverse(row.name, args=row.args(place))
    with transaction.atomic():
        answer = getattr(client, row.method.lower())(address, **given)
        transaction.set_rollback(True)
    return int(answer.status_code)


@pytest.mark.parametrize("kind", VISITORS)
def test_each_visitor_gets_what_the_table_says(
    kind: str, place: Place, request: pytest.FixtureRequest
) -> None:
    visitor = None if kind == "anonymous" else request.getfixturevalue(kind)
    column = VISITORS.index(kind)
    wrong = {
        f"{row.method} {row.name}": (answered, row.codes[column])
        for row in TABLE
        if (answered := _answered(row, place, visitor)) != row.codes[column]
    }
    assert wrong == {}, "answered, and what the table says"


def test_every_address_is_in_the_table() -> None:
    routes = set(_routes(get_resolver().url_patterns))
    named = {row.name for row in TABLE}
    assert routes - named == set(), "not in the table"
    assert named - routes == set(), "not there any more"


def test_only_these_addresses_are_open_to_everybody() -> None:
    shut = (302, 401, 404)
    assert {row.name for row in TABLE if row.codes[0] not in shut} == {
        "sign-in",
        "health-live",
        "health-ready",
        "checks:worker",
        "checks:offline",
        "notices:stop",
        "notices:calendar",
        "checks:verify",
        "checks:verify_digest",
        "people:invitation",
        "set-password",
        "forgotten-password",
        "api:verify",
        "api:document-schema",
        "api:schema",
        "api:docs",
    }
