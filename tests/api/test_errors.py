"""Whatever is refused is a problem document, and no fault goes unseen."""

import pytest
from django.core.signals import got_request_exception
from django.test import RequestFactory
from rest_framework.test import APIClient

from api.errors import handle_exception
from checks.engine.errors import DegenerateGeometryError
from core.models import Person
from tests.api.conftest import As

pytestmark = pytest.mark.django_db


@pytest.mark.parametrize(
    ("method", "path", "status", "kind"),
    [
        ("GET", "/api/v1/nowhere", 404, "not-found"),
        ("GET", "/api/v1/", 404, "not-found"),
        ("POST", "/api/v1/jobs/", 404, "not-found"),
        ("GET", "/api/v1/jobs/99999999999999999999999", 404, "not-found"),
        ("GET", "/api/v1/schemas/other.json", 404, "not-found"),
        ("DELETE", "/api/v1/jobs", 405, "method"),
        ("POST", "/api/v1/evaluate", 415, "media-type"),
    ],
)
def test_every_refusal_has_the_shape_of_rfc_9457(
    by_token: As, field_lead: Person, method: str, path: str, status: int, kind: str
) -> None:
    answer = by_token(field_lead).generic(method, path, b"x", "text/plain")
    assert answer.status_code == status
    assert answer["Content-Type"] == "application/problem+json"
    problem = answer.json()
    assert problem["type"] == f"urn:padstone:problem:{kind}"
    assert problem["status"] == status
    assert problem["title"]
    assert problem["detail"]


def test_a_method_that_is_not_taken_names_those_that_are(
    by_token: As, field_lead: Person
) -> None:
    answer = by_token(field_lead).delete("/api/v1/jobs")
    assert "GET" in answer["Allow"]


def test_a_form_of_answer_that_is_not_there_is_refused(
    by_token: As, field_lead: Person
) -> None:
    answer = by_token(field_lead).get("/api/v1/jobs", headers={"Accept": "text/csv"})
    assert answer.status_code == 406
    assert answer["Content-Type"] == "application/problem+json"


def test_what_cannot_be_judged_is_said_in_the_engines_words() -> None:
    words = "Rods 1 and 2 are planned at the same place."
    answer = handle_exception(DegenerateGeometryError(words), {})
    assert answer is not None
    assert answer.status_code == 422
    assert words in answer.text


def test_a_fault_is_told_to_whoever_watches_and_hides_its_insides(
    rf: RequestFactory,
) -> None:
    heard: list[object] = []

    def hear(**told: object) -> None:
        heard.append(told["request"])

    got_request_exception.connect(hear)
    try:
        request = rf.get("/")
        answer = handle_exception(
            RuntimeError("the password is…"), {"request": request}
        )
    finally:
        got_request_exception.disconnect(hear)
    assert heard == [request]
    assert answer is not None
    assert answer.status_code == 500
    assert "password" not in answer.text


def test_nobody_is_challenged_with_a_login_page(anonymous: APIClient) -> None:
    answer = anonymous.get("/api/v1/jobs")
    assert answer.status_code == 401
    assert answer["WWW-Authenticate"] == "Token"
    assert answer["Content-Type"] == "application/problem+json"


def test_a_body_in_chunks_is_not_taken_for_an_empty_one(
    by_token: As, field_lead: Person
) -> None:
    answer = by_token(field_lead).post(
        "/api/v1/evaluate",
        headers={"Transfer-Encoding": "chunked"},
        content_type="application/json",
        CONTENT_LENGTH="",
    )
    assert answer.status_code == 411
    assert "Content-Length" in answer.json()["detail"]


def test_half_a_character_in_a_request_breaks_no_answer(
    by_session: As, field_lead: Person
) -> None:
    answer = by_session(field_lead).generic(
        "POST", "/api/v1/tokens", rb'{"\ud800": "\ud800"}', "application/json"
    )
    assert answer.status_code == 400
    assert answer.json()["errors"][0]["pointer"] == "/\ud800"
