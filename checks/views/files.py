"""What is known of a building, handed out as files."""

from django.http import Http404, HttpResponse
from django.utils.text import slugify
from django.views.decorators.http import require_GET

from checks.adapters import building_document, recorded_entries
from checks.drawings.as_built import built_rods
from checks.queries.walk import blank_walk, latest_evaluation
from checks.views.readings import seen_building
from core.requests import PersonRequest
from jobs.exchange.dxf.plan_out import write_plan_drawing
from jobs.exchange.tables.files import write_tables
from jobs.exchange.tables.plan_out import plan_tables
from jobs.exchange.tables.readings_out import readings_table, sheet_to_fill
from jobs.models import Building
from jobs.plan_files import TYPES, download
from jobs.plans import plan_of

TABLES = ("xlsx", "csv")


@require_GET
def building(request: PersonRequest, pk: int, kind: str) -> HttpResponse:
    """Hand out plan and readings as tables, or the plan as built as a drawing."""
    found = seen_building(request, pk)
    if kind not in TYPES:
        raise Http404
    if kind == "dxf":
        return download(_as_built(found), f"{_name(found)}-as-built", kind)
    document = building_document(found)
    tables = plan_tables(document)
    if document["readings"]:
        tables.append(readings_table(document["readings"]))
    return download(write_tables(tables, f".{kind}"), _name(found), kind)


@require_GET
def readings(request: PersonRequest, pk: int, kind: str) -> HttpResponse:
    """Hand out every reading of the record as a table."""
    found = seen_building(request, pk)
    if kind not in TABLES:
        raise Http404
    table = readings_table(recorded_entries(found))
    content = write_tables([table], f".{kind}", titled=False)
    return download(content, f"{_name(found)}-readings", kind)


@require_GET
def blank_readings(request: PersonRequest, pk: int, kind: str) -> HttpResponse:
    """Hand out a sheet with every check in the order of the walk, to be filled in."""
    found = seen_building(request, pk)
    if kind not in TABLES:
        raise Http404
    sections = blank_walk(plan_of(found.current_revision()))
    table = sheet_to_fill(
        (row.words, row.check.key) for section in sections for row in section.rows
    )
    content = write_tables([table], f".{kind}", titled=False)
    return download(content, f"{_name(found)}-sheet", kind)


def _as_built(building: Building) -> bytes:
    """Draw the plan in force, and the rods as built where they hold on it."""
    revision = building.current_revision()
    evaluation = latest_evaluation(building)
    holds = evaluation is not None and evaluation.revision_id == revision.pk
    plan = plan_of(revision)
    result = evaluation.result if evaluation is not None and holds else None
    return write_plan_drawing(plan, built_rods(plan, result))


def _name(building: Building) -> str:
    return slugify(building.name) or "building"
