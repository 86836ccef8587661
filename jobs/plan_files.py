"""Plans handed out as files: a template to fill in, and every issue of a plan."""

from django.http import Http404, HttpResponse
from django.shortcuts import get_object_or_404
from django.utils.text import slugify
from django.views.decorators.http import require_GET

from core.requests import PersonRequest
from jobs.exchange.dxf.plan_out import write_plan_drawing
from jobs.exchange.tables.files import write_plan
from jobs.exchange.tables.template import example_plan
from jobs.models import Building
from jobs.plans import plan_of

TYPES = {
    "xlsx": "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet",
    "csv": "text/csv; charset=utf-8",
    "dxf": "image/vnd.dxf",
}
"""The media types of files that are handed out, as registered with IANA."""


@require_GET
def plan_template(request: PersonRequest, kind: str) -> HttpResponse:
    """Hand out a plan to fill in, with a small invented building in it."""
    if kind not in ("xlsx", "csv"):
        raise Http404
    return download(write_plan(example_plan(), f".{kind}"), "plan-template", kind)


@require_GET
def plan_file(
    request: PersonRequest, building_id: int, number: int, kind: str
) -> HttpResponse:
    """Hand out one issue of a plan as a workbook, as CSV or as a drawing."""
    building = get_object_or_404(
        Building.objects.visible_to(request.user), pk=building_id
    )
    revision = get_object_or_404(building.revisions, number=number)
    if kind not in TYPES:
        raise Http404
    if kind == "dxf":
        content = write_plan_drawing(plan_of(revision))
    else:
        content = write_plan(revision.document, f".{kind}")
    name = f"{slugify(building.name) or 'building'}-plan-{number}"
    return download(content, name, kind)


def download(content: bytes, name: str, kind: str) -> HttpResponse:
    """Answer with a file to keep."""
    return HttpResponse(
        content,
        content_type=TYPES[kind],
        headers={"Content-Disposition": f'attachment; filename="{name}.{kind}"'},
    )
