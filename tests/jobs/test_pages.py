from datetime import timedelta

import pytest
from django.urls import reverse
from django.utils.timezone import localdate

from core.models import Role
from jobs import services
from jobs.models import Building, Job, Stage
from jobs.plans import revisions
from tests import example_buildings, factories

VISITORS = ("anonymous", "stranger", "field_lead", "engineer", "operations")
SIGN_IN = 302  # sent to the sign-in page
GET_PAGES = {  # url name: what each visitor gets, in the order of VISITORS
    "list": (SIGN_IN, 200, 200, 200, 200),
    "new_job": (SIGN_IN, 200, 403, 403, 200),
    "job": (SIGN_IN, 404, 200, 200, 200),
    "edit_job": (SIGN_IN, 404, 403, 403, 200),
    "new_building": (SIGN_IN, 404, 403, 200, 200),
    "import_building": (SIGN_IN, 404, 403, 200, 200),
    "plan": (SIGN_IN, 404, 200, 200, 200),
    "revise": (SIGN_IN, 404, 403, 200, 200),
    "document": (SIGN_IN, 404, 200, 200, 200),
    "plan_file": (SIGN_IN, 404, 200, 200, 200),
    "plan_template": (SIGN_IN, 200, 200, 200, 200),
}
POST_PAGES = {  # with nothing filled in: who may gets 400 or a preview
    "new_job": (SIGN_IN, 400, 403, 403, 400),
    "edit_job": (SIGN_IN, 404, 403, 403, 400),
    "change_membership": (SIGN_IN, 404, 403, 403, 400),
    "new_building": (SIGN_IN, 404, 403, 400, 400),
    "preview_building": (SIGN_IN, 404, 403, 200, 200),
    "import_building": (SIGN_IN, 404, 403, 400, 400),
    "revise": (SIGN_IN, 404, 403, 400, 400),
}


def address(name: str, building: Building) -> str:
    arguments = {
        "list": [],
        "new_job": [],
        "plan": [building.pk],
        "revise": [building.pk],
        "document": [building.pk, 1],
        "plan_file": [building.pk, 1, "csv"],
        "plan_template": ["csv"],
    }
    return reverse(f"jobs:{name}", args=arguments.get(name, [building.job_id]))


def signed_in(client, request, visitor):
    if visitor != "anonymous":
        client.force_login(request.getfixturevalue(visitor))
    return client


def cases(pages):
    return [
        (name, visitor, status)
        for name, statuses in pages.items()
        for visitor, status in zip(VISITORS, statuses, strict=True)
    ]


@pytest.mark.parametrize(("name", "visitor", "status"), cases(GET_PAGES))
def test_each_visitor_sees_what_is_theirs(
    name, visitor, status, client, request, building
):
    response = signed_in(client, request, visitor).get(address(name, building))
    assert response.status_code == status


@pytest.mark.parametrize(("name", "visitor", "status"), cases(POST_PAGES))
def test_each_visitor_does_what_is_theirs(
    name, visitor, status, client, request, building
):
    response = signed_in(client, request, visitor).post(
        address(name, building), {"note": ""}
    )
    assert response.status_code == status


def test_every_page_of_jobs_is_in_the_tables():
    from jobs.urls import urlpatterns

    assert {each.name for each in urlpatterns} == GET_PAGES.keys() | POST_PAGES.keys()


def queries_of(client, django_assert_max_num_queries, url, limit):
    with django_assert_max_num_queries(limit) as counted:
        assert client.get(url).status_code == 200
    return len(counted)


def test_the_list_takes_as_many_queries_for_many_jobs_as_for_one(
    client, operations, django_assert_max_num_queries
):
    client.force_login(operations)
    ship = localdate() + timedelta(days=3)
    counts = []
    for many in (1, 12):
        for _ in range(many):
            job = factories.job(operations, ship_date=ship)
            for name in ("One", "Two"):
                factories.building(job, operations, example_buildings.shed(name=name))
        counts.append(queries_of(client, django_assert_max_num_queries, "/", 12))
    assert counts[0] == counts[1]


def test_a_job_takes_as_many_queries_for_many_buildings_as_for_one(
    client, operations, job, django_assert_max_num_queries
):
    client.force_login(operations)
    counts = []
    for names in (["One"], ["Two", "Three", "Four"]):
        for name in names:
            factories.building(job, operations, example_buildings.shed(name=name))
        url = job.get_absolute_url()
        counts.append(queries_of(client, django_assert_max_num_queries, url, 14))
    assert counts[0] == counts[1]


def test_a_plan_takes_as_many_queries_for_many_revisions_as_for_one(
    client, operations, building, django_assert_max_num_queries
):
    client.force_login(operations)
    url = reverse("jobs:plan", args=[building.pk])
    counts = [queries_of(client, django_assert_max_num_queries, url, 10)]
    for length in (67, 68, 69):
        services.revise_plan(
            actor=operations, building=building, document=longer(length), note=""
        )
    counts.append(queries_of(client, django_assert_max_num_queries, url, 10))
    assert counts[0] == counts[1]


def test_many_revisions_come_in_pages_and_the_first_says_what_is_in_force(
    client, operations, building
):
    client.force_login(operations)
    url = reverse("jobs:plan", args=[building.pk])
    for length in range(67, 67 + revisions.REVISIONS_PER_PAGE):
        services.revise_plan(
            actor=operations, building=building, document=longer(length), note=""
        )
    first, last = (client.get(url, {"page": page}) for page in (1, 2))
    shown = [row.revision.number for row in first.context["revisions"]]
    assert shown == list(range(revisions.REVISIONS_PER_PAGE + 1, 1, -1))
    assert all(row.changes for row in first.context["revisions"])
    assert first.content.decode().count("in force") == 1
    assert [row.revision.number for row in last.context["revisions"]] == [1]
    assert "in force" not in last.content.decode()


def longer(length: int) -> dict:
    document = example_buildings.shed()
    document["outline"][1]["x"] = document["outline"][2]["x"] = length
    return document


def numbers(response) -> list[str]:
    return [row.job.number for row in response.context["rows"]]


@pytest.fixture
def several(client, operations, stranger, engineer):
    """Three jobs: late and stopped, ready, finished; and one of somebody else."""
    client.force_login(operations)
    today = localdate()
    for number, days in (("L-1", -2), ("R-2", 3), ("F-3", 90), ("N-4", None)):
        ship = None if days is None else today + timedelta(days=days)
        job = factories.job(
            operations, number=number, ship_date=ship, engineer=engineer
        )
        if days is not None:
            factories.building(
                job, operations, example_buildings.shed(name=f"Hall {number}")
            )
    late, ready, finished = Building.objects.order_by("job__ship_date")
    services.set_stage_state(late, "verification", "held", "level of S1 undecided")
    services.set_progress(
        late,
        required_checks=10,
        settled_checks=4,
        open_findings=2,
        undecided_findings=1,
        last_reading_at=None,
    )
    services.set_stage_state(ready, "foundation", "released")
    services.set_stage_state(ready, "verification", "ready")
    for kind in Stage.Kind:
        services.set_stage_state(finished, kind, "released")
    factories.job(stranger, number="X-9", ship_date=today)
    return client


@pytest.mark.parametrize(
    ("query", "expected"),
    [
        ("", ["L-1", "R-2", "N-4"]),
        ("status=finished", ["F-3"]),
        ("status=all", ["L-1", "R-2", "F-3", "N-4"]),
        ("text=hall+r-2", ["R-2"]),
        ("text=X-9", []),
        ("stage=verification&state=held", ["L-1"]),
        ("stage=verification", ["L-1", "R-2"]),
        ("state=ready", ["R-2"]),
        ("within=0", ["L-1"]),
        ("within=7", ["L-1", "R-2"]),
        ("findings=on", ["L-1"]),
        ("waiting=on", ["R-2"]),
        ("mine=on", ["L-1", "R-2", "N-4"]),
        ("within=soon&stage=roof&findings=on", ["L-1"]),
        ("page=99", ["L-1", "R-2", "N-4"]),
    ],
)
def test_the_address_says_which_jobs_are_listed(several, query, expected):
    assert numbers(several.get(f"/?{query}")) == expected


def test_what_waits_for_the_engineer_is_what_is_undecided(several, engineer):
    several.force_login(engineer)
    assert numbers(several.get("/?waiting=on")) == ["L-1"]


def test_an_administrator_sees_every_job(several, administrator):
    several.force_login(administrator)
    assert numbers(several.get("/")) == ["L-1", "X-9", "R-2", "N-4"]
    assert numbers(several.get("/?mine=on")) == []


def test_the_answer_says_what_can_ship_this_week_and_what_stops_the_rest(several):
    shipping = several.get("/").context["shipping"]
    assert (shipping.can_ship, shipping.total) == (1, 2)
    assert [row.building.name for _, row in shipping.ready] == ["Hall R-2"]
    assert [row.blocker for _, row in shipping.stopped] == ["level of S1 undecided"]
    page = several.get("/").content.decode()
    assert "1 of 2 buildings due by" in page


def test_a_job_past_its_ship_date_says_so(several):
    assert "ship date 2 days ago" in several.get("/").content.decode()


def test_a_job_is_opened_with_its_people(client, operations, field_lead, engineer):
    client.force_login(operations)
    response = client.post(
        reverse("jobs:new_job"),
        {
            "number": "31-7",
            "name": "Salt barn",
            "customer": "A county",
            "site": "Depot 4",
            "ship_date": "2026-09-01",
            "field": [field_lead.pk],
            "engineer": [engineer.pk],
        },
    )
    job = Job.objects.get()
    assert response.headers["Location"] == job.get_absolute_url()
    assert set(job.memberships.values_list("person", "role")) == {
        (operations.pk, Role.OPERATIONS),
        (field_lead.pk, Role.FIELD),
        (engineer.pk, Role.ENGINEER),
    }


def test_a_number_given_twice_is_told_and_nothing_typed_is_lost(
    client, operations, job
):
    client.force_login(operations)
    typed = {
        "number": job.number,
        "name": "Kept name",
        "customer": "Kept customer",
        "site": "Kept site",
    }
    response = client.post(reverse("jobs:new_job"), typed)
    page = response.content.decode()
    assert response.status_code == 400
    assert "Another job has this number" in page
    assert all(value in page for value in typed.values())


def test_a_changed_job_keeps_its_new_ship_date(client, operations, job):
    client.force_login(operations)
    client.post(
        reverse("jobs:edit_job", args=[job.pk]),
        {
            "number": job.number,
            "name": job.name,
            "customer": job.customer,
            "site": "Lot 9",
            "ship_date": "2026-10-02",
        },
    )
    job.refresh_from_db()
    assert (job.site, str(job.ship_date)) == ("Lot 9", "2026-10-02")


def test_people_are_put_on_a_job_and_taken_off(client, operations, job, stranger):
    client.force_login(operations)
    url = reverse("jobs:change_membership", args=[job.pk])
    client.post(url, {"person": stranger.pk, "role": "field"})
    assert job.roles_of(stranger) == {"field"}
    client.post(url, {"person": stranger.pk, "role": ""})
    assert not job.roles_of(stranger)


def test_taking_the_last_operations_manager_off_is_refused_in_words(
    client, operations, job
):
    client.force_login(operations)
    response = client.post(
        reverse("jobs:change_membership", args=[job.pk]),
        {"person": operations.pk, "role": ""},
    )
    assert response.status_code == 400
    assert "at least one operations manager" in response.content.decode()
