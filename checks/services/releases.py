"""Signing of releases: the record as it stands, frozen with its SHA-256."""

from collections.abc import Mapping
from typing import Any

from django.db import transaction
from django.utils.timezone import now

from checks.evaluation.finding_topics import PATTERN_TOPICS, FindingTopic
from checks.evaluation_input import load_evaluation_input
from checks.models import (
    ConcreteEntry,
    Decision,
    Finding,
    Photograph,
    Reading,
    Release,
    WorkReport,
)
from checks.services.concrete import serialize_concrete_entry
from checks.services.decision_snapshot import serialize_person, serialize_reading
from checks.services.errors import ConflictCode, ConflictError, NotReadyError
from checks.services.evaluation import evaluate_or_leave_due
from checks.services.hold_points import (
    BuildingStatus,
    get_building_status,
    list_missing,
)
from checks.services.outbox import record_release_signed
from checks.services.photographs import serialize_photograph
from checks.services.result_supplements import ensure_supplement
from checks.services.stages import update_building_status
from core.models import Person
from core.permissions import Action, require
from core.vocabulary import ReleaseKind, RemedyKind
from jobs.exchange.canonical_json import sha256_of
from jobs.models import Building
from jobs.services import mark_steel_shipped

RELEASE_FORMAT = "padstone.release/1"
ROD_REMEDIES = frozenset(
    {"new_plate", "ream", "slot", "re_anchor", "extend_rod", "refer", "shift"}
)
NOTICE_STATEMENT = (
    "Notice to the erector before columns are set: the strength of the concrete, and "
    "every repair, replacement or modification of an anchor rod or of its base plate "
    "(29 CFR 1926.752(a) and 1926.755(b), beside 1926.758(a) for systems-engineered "
    "metal buildings). The engineer of record, the "
    "manufacturer's drawings and local codes govern."
)


def sign_release(
    *,
    actor: Person,
    building: Building,
    kind: str,
    note: str = "",
    signed_with: str = "",
) -> Release:
    """Sign a release: freeze the record as it stands, with its SHA-256.

    A ship release records the steel as shipped; what is computed after it no longer
    proposes a new plate first.

    Raises
    ------
    NotReadyError
        With everything that is missing.
    ConflictError
        If this release is signed already for the plan in force.
    """
    require(actor, Action.SIGN_RELEASE, roles=building.roles_of(actor))
    with transaction.atomic():
        building = Building.objects.select_for_update(of=("self",), no_key=True).get(
            pk=building.pk
        )
        status = get_building_status(building)
        signed = status.signed_release(kind)
        if signed is not None:
            msg = f"{signed.get_kind_display()}: signed already by {signed.signed_by}."
            raise ConflictError(msg, ConflictCode.ALREADY_SIGNED)
        missing = list_missing(status, kind)
        if missing:
            raise NotReadyError(kind, missing)
        if status.evaluation is not None:
            ensure_supplement(status.evaluation)
        record = _build_record(actor, status, kind, note, signed_with)
        release = Release.objects.create(
            building=building,
            revision=status.revision,
            kind=kind,
            record=record,
            digest=sha256_of(record),
            note=note.strip(),
            signed_by=actor,
            signed_at=record["signed_at"],
        )
        record_release_signed(release)
        left_due = kind == ReleaseKind.SHIP and mark_steel_shipped(
            actor=actor, building=building
        )
        update_building_status(building, status.evaluation)
    if left_due:
        # Outside the transaction: the release stays even if this fails.
        evaluate_or_leave_due(building)
    release.refresh_from_db()
    return release


def find_verified_release(value: str) -> Release | None:
    """Find the release with this digest whose record still has that digest."""
    found = (
        Release.objects.filter(digest=value.strip().lower())
        .select_related("building__job", "revision", "signed_by")
        .first()
    )
    if found is None or sha256_of(found.record) != found.digest:
        return None
    return found


def _build_record(
    actor: Person, status: BuildingStatus, kind: str, note: str, signed_with: str
) -> dict[str, Any]:
    """Build the record of a release: its body, and who signs it."""
    body = build_release_body(status)
    assert body["evaluation"] is not None  # noqa: S101  # a requirement
    return {
        "format": RELEASE_FORMAT,
        "kind": kind,
        **body,
        "note": note.strip(),
        "signed_by": serialize_person(actor),
        **_signature_member(signed_with),
        "signed_at": now().isoformat(),
    }


def build_release_body(status: BuildingStatus) -> dict[str, Any]:
    """Build the body of a release: plan, result, readings, findings and notice.

    `evaluation` is None while the plan in force is not evaluated.
    """
    building, evaluation = status.building, status.evaluation
    if evaluation is not None and evaluation.revision_id != status.revision.pk:
        evaluation = None
    findings = [_serialize_finding(finding) for finding in _fetch_findings(building)]
    readings = Reading.objects.filter(building=building).select_related(
        "recorded_by", "supersedes", "withdrawal"
    )
    return {
        "building": {"id": building.pk, "name": building.name},
        "job": _serialize_job(building),
        "plan": {
            "revision": status.revision.number,
            "digest": status.revision.digest,
            "document": load_evaluation_input(building).document,
        },
        "evaluation": evaluation
        and {
            "id": evaluation.pk,
            "made_with": evaluation.made_with,
            "input_digest": evaluation.input_digest,
            "result": evaluation.complete_result,
        },
        "readings": [serialize_reading(row) for row in readings.order_by("pk")],
        "concrete": [
            serialize_concrete_entry(row) for row in _fetch_concrete_entries(building)
        ],
        "photographs": _serialize_photographs(building),
        "findings": findings,
        "notice": _build_notice(evaluation.result if evaluation else {}, findings),
        "previous": [
            {"kind": row.kind, "revision": row.revision_id, "digest": row.digest}
            for row in status.releases
        ],
    }


def _fetch_concrete_entries(building: Building) -> list[ConcreteEntry]:
    """Load every concrete entry, superseded ones included."""
    found = ConcreteEntry.objects.filter(building=building)
    return list(found.select_related("recorded_by", "supersedes").order_by("pk"))


def _serialize_photographs(building: Building) -> list[dict[str, Any]]:
    """Write every photograph but those of work, which belong to their decision."""
    found = Photograph.objects.filter(building=building, work_report=None)
    return [
        {
            **serialize_photograph(row),
            "check": row.check_key,
            "reading": row.reading.client_id if row.reading else None,
            "finding": row.finding.topic if row.finding else None,
        }
        for row in found.select_related("recorded_by", "reading", "finding").order_by(
            "pk"
        )
    ]


def _serialize_job(building: Building) -> dict[str, str]:
    job = building.job
    return {
        "number": job.number,
        "name": job.name,
        "customer": job.customer,
        "site": job.site,
    }


def _fetch_findings(building: Building) -> list[Finding]:
    return list(
        Finding.objects.filter(building=building)
        .prefetch_related(
            "decisions__engineer",
            "decisions__work_report__person",
            "decisions__work_report__photographs__recorded_by",
            "events__person",
        )
        .order_by("pk")
    )


def _serialize_finding(finding: Finding) -> dict[str, Any]:
    return {
        "finding": finding.topic,
        "checks": finding.checks,
        "state": finding.state,
        "closing": finding.closed_reason,
        "opened_at": finding.opened_at.isoformat(),
        "closed_at": finding.closed_at.isoformat() if finding.closed_at else None,
        "remedies": finding.remedies,
        "decisions": [_serialize_decision(row) for row in finding.decisions.all()],
        "history": [
            {
                "kind": event.kind,
                "at": event.at.isoformat(),
                "by": serialize_person(event.person) if event.person else None,
                "note": event.note,
            }
            for event in finding.events.all()
        ],
    }


def _serialize_decision(decision: Decision) -> dict[str, Any]:
    report: WorkReport | None = getattr(decision, "work_report", None)
    return {
        "remedy": decision.remedy,
        "disposition": decision.disposition,
        "note": decision.note,
        "digest": decision.digest,
        "engineer": serialize_person(decision.engineer),
        **_signature_member(decision.signed_with),
        "made_at": decision.made_at.isoformat(),
        "carried_out": report
        and {
            "by": serialize_person(report.person),
            "at": report.at.isoformat(),
            "note": report.note,
            "photographs": [
                serialize_photograph(row) for row in report.photographs.all()
            ],
        },
    }


def _signature_member(signed_with: str) -> dict[str, str]:
    """Return the member that names the signature, where it is known."""
    return {"signed_with": signed_with} if signed_with else {}


def _build_notice(
    result: Mapping[str, Any], findings: list[dict[str, Any]]
) -> dict[str, Any]:
    """Build the notice to the erector: strength, and every change to a rod."""
    return {
        "statement": NOTICE_STATEMENT,
        "strength": _select_strength_gate(result.get("concrete")),
        "rods": [
            {
                "finding": finding["finding"],
                "remedy": decision["remedy"]["remedy"],
                "disposition": decision["disposition"],
                "order": decision["note"],
                "engineer": decision["engineer"],
                "made_at": decision["made_at"],
                "carried_out": decision["carried_out"],
            }
            for finding in findings
            for decision in finding["decisions"]
            if _changes_rods(finding["finding"], decision["remedy"]["remedy"])
        ],
    }


def _select_strength_gate(concrete: Mapping[str, Any] | None) -> dict[str, Any] | None:
    """Select the strength gate: forecasts and delivery tests are no notice."""
    if concrete is None:
        return None
    excluded = ("acceptance", "forecast")
    return {name: value for name, value in concrete.items() if name not in excluded}


def _changes_rods(topic: str, remedy: str) -> bool:
    return remedy in ROD_REMEDIES or (
        remedy != RemedyKind.REMEASURE and FindingTopic(topic).kind in PATTERN_TOPICS
    )
