"""Downloads of a building: workbooks, CSV and drawings."""

from django.http import Http404, HttpResponse
from django.utils.text import slugify
from django.views.decorators.http import require_GET

from checks.drawings.as_built_rods import place_built_rods
from checks.evaluation_input import build_building_document, list_recorded_entries
from checks.queries.walk import build_blank_walk, get_latest_evaluation
from checks.views.readings import get_visible_building
from core.requests import AuthenticatedRequest
from jobs.exchange.dxf.plan_export import write_plan_drawing
from jobs.exchange.tables.plan_export import build_plan_tables
from jobs.exchange.tables.readings_export import build_blank_sheet, build_readings_table
from jobs.exchange.tables.table_files import write_tables
from jobs.models import Building
from jobs.plans.download_views import MEDIA_TYPES, file_response
from jobs.plans.plan_cache import load_plan

TABLE_FORMATS = ("xlsx", "csv")


@require_GET
def download_building(
    request: AuthenticatedRequest, pk: int, kind: str
) -> HttpResponse:
    """Return plan and readings as tables, or the plan as built as a drawing."""
    found = get_visible_building(request, pk)
    if kind not in MEDIA_TYPES:
        raise Http404
    if kind == "dxf":
        return file_response(
            _draw_as_built(found), f"{_file_stem(found)}-as-built", kind
        )
    document = build_building_document(found)
    tables = build_plan_tables(document)
    if document["readings"]:
        tables.append(build_readings_table(document["readings"]))
    return file_response(write_tables(tables, f".{kind}"), _file_stem(found), kind)


@require_GET
def download_readings(
    request: AuthenticatedRequest, pk: int, kind: str
) -> HttpResponse:
    """Return every reading as a table."""
    found = get_visible_building(request, pk)
    if kind not in TABLE_FORMATS:
        raise Http404
    table = build_readings_table(list_recorded_entries(found))
    content = write_tables([table], f".{kind}", titled=False)
    return file_response(content, f"{_file_stem(found)}-readings", kind)


@require_GET
def download_blank_sheet(
    request: AuthenticatedRequest, pk: int, kind: str
) -> HttpResponse:
    """Return a blank table of every check, in the order of the walk."""
    found = get_visible_building(request, pk)
    if kind not in TABLE_FORMATS:
        raise Http404
    sections = build_blank_walk(load_plan(found.current_revision()))
    table = build_blank_sheet(
        (row.label, row.check.key) for section in sections for row in section.rows
    )
    content = write_tables([table], f".{kind}", titled=False)
    return file_response(content, f"{_file_stem(found)}-sheet", kind)


def _draw_as_built(building: Building) -> bytes:
    """Draw the current plan, with the rods as built if measured on it."""
    revision = building.current_revision()
    evaluation = get_latest_evaluation(building)
    holds = evaluation is not None and evaluation.revision_id == revision.pk
    plan = load_plan(revision)
    result = evaluation.result if evaluation is not None and holds else None
    return write_plan_drawing(plan, place_built_rods(plan, result))


def _file_stem(building: Building) -> str:
    return slugify(building.name) or "building"
