"""Hold points and their signatures: what was known, frozen, with its digest."""

from collections.abc import Mapping
from typing import Any

from django.db import transaction
from django.utils.timezone import now

from checks.evaluation_input import load_evaluation_input
from checks.models import ConcreteEntry, Finding, Photograph, Reading, Release
from checks.services.concrete import serialize_concrete_entry
from checks.services.decision_snapshot import serialize_person, serialize_reading
from checks.services.errors import ConflictError, NotReadyError
from checks.services.hold_points import (
    BuildingStatus,
    MissingRequirement,
    find_missing_requirements,
    get_building_status,
    list_missing,
)
from checks.services.outbox import record_release_signed
from checks.services.photographs import serialize_photograph
from checks.services.stages import update_building_status
from core.models import Person
from core.permissions import Action, require
from jobs.exchange.canonical_json import sha256_of
from jobs.models import Building

__all__ = [
    "MissingRequirement",
    "find_missing_requirements",
    "find_verified_release",
    "sign_release",
]

RELEASE_FORMAT = "padstone.release/1"
ROD_REMEDIES = frozenset({"ream", "slot", "re_anchor", "extend_rod", "refer", "shift"})
ROD_TOPICS = ("position:", "projection:")
NOTICE_STATEMENT = (
    "Notice to the erector before columns are set: the strength of the concrete, and "
    "every repair, replacement or modification of an anchor rod or of its base plate "
    "(29 CFR 1926.752(a) and 1926.755(b)). The engineer of record, the "
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
    """Sign a hold point: freeze the record as it stands and give it a digest.

    Raises
    ------
    NotReadyError
        With everything that is still missing.
    ConflictError
        If this release is signed for the plan in force already.
    """
    require(actor, Action.SIGN_RELEASE, roles=building.roles_of(actor))
    with transaction.atomic():
        building = Building.objects.select_for_update(of=("self",), no_key=True).get(
            pk=building.pk
        )
        standing = get_building_status(building)
        signed = standing.signed_release(kind)
        if signed is not None:
            msg = f"The {signed.get_kind_display()} is signed by {signed.signed_by}."
            raise ConflictError(msg)
        missing = list_missing(standing, kind)
        if missing:
            raise NotReadyError(Release.Kind(kind).label, missing)
        record = _build_record(actor, standing, kind, note, signed_with)
        release = Release.objects.create(
            building=building,
            revision=standing.revision,
            kind=kind,
            record=record,
            digest=sha256_of(record),
            note=note.strip(),
            signed_by=actor,
            signed_at=record["signed_at"],
        )
        record_release_signed(release)
        update_building_status(building, standing.evaluation)
    release.refresh_from_db()
    return release


def find_verified_release(value: str) -> Release | None:
    """Find the release of this digest, if its record still gives that digest."""
    found = (
        Release.objects.filter(digest=value.strip().lower())
        .select_related("building__job", "revision", "signed_by")
        .first()
    )
    if found is None or sha256_of(found.record) != found.digest:
        return None
    return found


def _build_record(
    actor: Person, standing: BuildingStatus, kind: str, note: str, signed_with: str
) -> dict[str, Any]:
    """Write down everything the release is based on, and who signs it."""
    account = build_release_body(standing)
    assert account["evaluation"] is not None  # noqa: S101  # or something were missing
    return {
        "format": RELEASE_FORMAT,
        "kind": kind,
        **account,
        "note": note.strip(),
        "signed_by": serialize_person(actor),
        **_signature_member(signed_with),
        "signed_at": now().isoformat(),
    }


def build_release_body(standing: BuildingStatus) -> dict[str, Any]:
    """Write down a building as it stands: plan, result, readings, findings, notice.

    `evaluation` is None while the plan in force was not evaluated.
    """
    building, evaluation = standing.building, standing.evaluation
    if evaluation is not None and evaluation.revision_id != standing.revision.pk:
        evaluation = None
    findings = [_serialize_finding(finding) for finding in _fetch_findings(building)]
    readings = Reading.objects.filter(building=building).select_related(
        "recorded_by", "supersedes"
    )
    return {
        "building": {"id": building.pk, "name": building.name},
        "job": _serialize_job(building),
        "plan": {
            "revision": standing.revision.number,
            "digest": standing.revision.digest,
            "document": load_evaluation_input(building).document,
        },
        "evaluation": evaluation
        and {
            "id": evaluation.pk,
            "made_with": evaluation.made_with,
            "input_digest": evaluation.input_digest,
            "result": evaluation.result,
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
            for row in standing.releases
        ],
    }


def _fetch_concrete_entries(building: Building) -> list[ConcreteEntry]:
    """Every entry of the concrete; those that were replaced are among them."""
    found = ConcreteEntry.objects.filter(building=building)
    return list(found.select_related("recorded_by", "supersedes").order_by("pk"))


def _serialize_photographs(building: Building) -> list[dict[str, Any]]:
    """Write down every photograph; those of work stand with their decision."""
    found = Photograph.objects.filter(building=building, carried_out=None)
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
            "decisions__carried_out__person",
            "decisions__carried_out__photographs__recorded_by",
            "events__person",
        )
        .order_by("pk")
    )


def _serialize_finding(finding: Finding) -> dict[str, Any]:
    return {
        "finding": finding.topic,
        "checks": finding.checks,
        "state": finding.state,
        "closing": finding.closing,
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


def _serialize_decision(decision: Any) -> dict[str, Any]:
    done = getattr(decision, "carried_out", None)
    return {
        "remedy": decision.remedy,
        "disposition": decision.disposition,
        "note": decision.note,
        "digest": decision.digest,
        "engineer": serialize_person(decision.engineer),
        **_signature_member(decision.signed_with),
        "made_at": decision.made_at.isoformat(),
        "carried_out": done
        and {
            "by": serialize_person(done.person),
            "at": done.at.isoformat(),
            "note": done.note,
            "photographs": [
                serialize_photograph(row) for row in done.photographs.all()
            ],
        },
    }


def _signature_member(signed_with: str) -> dict[str, str]:
    """Say what was signed with, where that is known."""
    return {"signed_with": signed_with} if signed_with else {}


def _build_notice(
    result: Mapping[str, Any], findings: list[dict[str, Any]]
) -> dict[str, Any]:
    """Write the notice to the erector: strength, and every change to a rod."""
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
    """The strength gate alone: a forecast or delivery tests give notice of nothing."""
    if concrete is None:
        return None
    beside = ("acceptance", "forecast")
    return {name: said for name, said in concrete.items() if name not in beside}


def _changes_rods(topic: str, remedy: str) -> bool:
    return remedy in ROD_REMEDIES or (
        remedy != "remeasure" and topic.startswith(ROD_TOPICS)
    )
