"""Every address of the interface, and what each kind of visitor is answered."""

from uuid import uuid4

from django.core.files.uploadedfile import SimpleUploadedFile
from django.utils.timezone import now

from tests.access.fixtures import third_store
from tests.access.route_row import (
    ANYBODY,
    API,
    API_DRAWN,
    API_SEEN,
    NOBODY,
    Row,
    measured,
    on_building,
    on_decision,
    on_finding,
    on_job,
    on_reading_by_id,
    on_release,
    order,
    revised,
    ship,
)
from tests.api.samples import store
from tests.images import photo

INTERFACE = [
    Row("api:evaluate", API, "POST", body=lambda place: third_store()),
    Row("api:jobs", API),
    Row("api:job", API_SEEN, args=on_job),
    Row("api:buildings", API_SEEN, args=on_job),
    Row("api:buildings", API_DRAWN, "POST", on_job, lambda place: store(name="New")),
    Row("api:building", API_SEEN, args=on_building),
    Row(
        "api:building",
        (401, 404, 403, 403, 200, 200),
        "PATCH",
        on_building,
        lambda place: {"steel": "detailing"},
    ),
    Row("api:plan", API_SEEN, args=on_building),
    Row("api:plan", API_DRAWN, "POST", on_building, revised),
    Row("api:revisions", API_SEEN, args=on_building),
    Row("api:revision", API_SEEN, args=lambda place: [place.building.pk, 1]),
    Row("api:checks", API_SEEN, args=on_building),
    Row("api:evaluation", API_SEEN, args=on_building),
    Row("api:readings", API_SEEN, args=on_building),
    Row("api:readings", (401, 404, 201, 201, 201, 201), "POST", on_building, measured),
    Row(
        "api:withdraw",
        (401, 404, 400, 400, 400, 400),
        "POST",
        on_reading_by_id,
    ),
    Row(
        "api:withdraw",
        (401, 404, 200, 200, 200, 200),
        "POST",
        on_reading_by_id,
        lambda place: {"reason": "The rod stood on a stone."},
    ),
    Row("api:concrete", API_SEEN, args=on_building),
    Row(
        "api:concrete",
        (401, 404, 201, 201, 201, 201),
        "POST",
        on_building,
        lambda place: {
            "entries": [{"id": "P", "kind": "placing", "placed_on": "2026-04-07"}]
        },
    ),
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
    Row(
        "api:new-plate",
        (401, 404, 404, 404, 404, 404),
        args=lambda place: [place.open.pk, "dxf"],
    ),
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
        lambda place: {"at": now().isoformat(), "note": "Done."},
    ),
    Row("api:releases", API_SEEN, args=on_building),
    Row("api:releases", (401, 404, 403, 403, 409, 403), "POST", on_building, ship),
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
