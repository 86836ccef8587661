"""Downloads: every revision of a plan, and a template to fill in."""

from django.http import Http404, HttpResponse
from django.shortcuts import get_object_or_404
from django.utils.text import slugify
from django.views.decorators.http import require_GET

from core.requests import AuthenticatedRequest
from jobs.exchange.dxf.plan_export import write_plan_drawing
from jobs.exchange.tables.example_building import build_example_document
from jobs.exchange.tables.table_files import write_plan_table
from jobs.models import Building
from jobs.plans.plan_cache import load_plan

MEDIA_TYPES = {
    "xlsx": "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet",
    "csv": "text/csv; charset=utf-8",
    "dxf": "image/vnd.dxf",
}
"""Media types as registered with IANA."""


@require_GET
def download_plan_template(request: AuthenticatedRequest, kind: str) -> HttpResponse:
    """Download a plan template, filled in with a small invented building."""
    if kind not in ("xlsx", "csv"):
        raise Http404
    return file_response(
        write_plan_table(build_example_document(), f".{kind}"), "plan-template", kind
    )


@require_GET
def download_plan_file(
    request: AuthenticatedRequest, building_id: int, number: int, kind: str
) -> HttpResponse:
    """Download one revision of a plan as a workbook, CSV or DXF."""
    building = get_object_or_404(
        Building.objects.visible_to(request.user), pk=building_id
    )
    revision = get_object_or_404(building.revisions, number=number)
    if kind not in MEDIA_TYPES:
        raise Http404
    if kind == "dxf":
        content = write_plan_drawing(load_plan(revision))
    else:
        content = write_plan_table(revision.document, f".{kind}")
    name = f"{slugify(building.name) or 'building'}-plan-{number}"
    return file_response(content, name, kind)


def file_response(content: bytes, name: str, kind: str) -> HttpResponse:
    """Return a response that downloads a file."""
    return HttpResponse(
        content,
        content_type=MEDIA_TYPES[kind],
        headers={"Content-Disposition": f'attachment; filename="{name}.{kind}"'},
    )
