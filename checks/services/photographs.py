"""Photographs of a check, of a finding, or of the work that a decision ordered.

The files are stored under their digests before the row, so that every row has its
files. Stored photographs are never changed.
"""

import hashlib
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any
from uuid import UUID, uuid4, uuid5

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils.timezone import now

from checks.models import Decision, Finding, Photograph, Reading, WorkReport
from checks.services.decision_snapshot import serialize_person
from checks.services.file_store import store_file
from checks.services.image_normalisation import ImageError, normalise_image
from core.models import Person
from core.permissions import Action, require
from jobs.anchor_plan.check_sheet import UnknownCheckError, find_check
from jobs.exchange.canonical_json import sha256_of
from jobs.models import Building
from jobs.plans.plan_cache import load_plan

MAX_CAPTION_LENGTH = 200
MAX_CHECK_KEY_LENGTH = 120
MAX_PHOTOGRAPHS_AT_ONCE = 12
RowFields = Mapping[str, Any]


@dataclass(frozen=True, slots=True, kw_only=True)
class UploadedPhotograph:
    """A file that was uploaded with others.

    Attributes
    ----------
    name : the file name, to name the one that is refused.
    """

    name: str
    content: bytes


@dataclass(frozen=True, slots=True)
class AddedPhotograph:
    """The photograph in the record; `created` is False if it was there before."""

    photograph: Photograph
    created: bool


def add_photograph(
    *,
    actor: Person,
    building: Building,
    client_id: UUID,
    content: bytes,
    taken_at: datetime | None = None,
    caption: str = "",
    check: str = "",
    reading: str = "",
    finding: Finding | None = None,
    decision: Decision | None = None,
) -> AddedPhotograph:
    """Add a photograph to a building's record; sent twice it is one photograph.

    Parameters
    ----------
    actor : who sends it, and answers for it.
    building : where it was taken.
    client_id : chosen by the sender, once for each photograph.
    content : the file, a JPEG, PNG or WebP.
    taken_at : time with its zone; now, if left out.
    caption : what it shows.
    check : key of the check that it belongs to.
    reading : client id of the reading that it belongs to; then `check` is optional.
    finding : the finding that it belongs to.
    decision : the decision whose work it shows.

    Raises
    ------
    PermissionDenied
        If this person may not; for a decision, if they may not report its work.
    ValidationError
        By member: the file, its id, caption, or what it belongs to.
    """
    details = _PhotographDetails(
        building=building,
        taken_at=taken_at,
        caption=_clean_caption(caption),
        check=check,
        reading=reading,
        finding=finding,
        decision=decision,
    )
    details.require(actor)
    existing = details.find_existing(client_id, content)
    if existing is not None:
        return AddedPhotograph(existing, created=False)
    links = details.resolve_links()
    files = _store_single_upload(content)
    with transaction.atomic():
        # The lock makes a second request wait until it can see the first.
        Building.objects.select_for_update(no_key=True).get(pk=building.pk)
        return details.store_row(actor, client_id, content, {**links, **files})


def add_photographs(
    *,
    actor: Person,
    building: Building,
    batch: UUID,
    uploads: Sequence[UploadedPhotograph],
    taken_at: datetime | None = None,
    caption: str = "",
    finding: Finding | None = None,
    decision: Decision | None = None,
) -> list[AddedPhotograph]:
    """Add several photographs of one thing, all or none.

    A batch sent twice is one batch; for the parameters see `add_photograph`.

    Raises
    ------
    ValidationError
        On `photographs`, with every file that cannot be stored and why.
    """
    details = _PhotographDetails(
        building=building,
        taken_at=taken_at,
        caption=_clean_caption(caption),
        finding=finding,
        decision=decision,
    )
    details.require(actor)
    links = details.resolve_links()
    kept = store_uploads(uploads)
    with transaction.atomic():
        Building.objects.select_for_update(no_key=True).get(pk=building.pk)
        return [
            details.store_row(
                actor, uuid5(batch, str(place)), each.content, {**links, **files}
            )
            for place, (each, files) in enumerate(zip(uploads, kept, strict=True))
        ]


@dataclass(frozen=True, slots=True, kw_only=True)
class _PhotographDetails:
    """The details of a photograph as sent."""

    building: Building
    taken_at: datetime | None
    caption: str
    check: str = ""
    reading: str = ""
    finding: Finding | None = None
    decision: Decision | None = None

    def require(self, actor: Person) -> None:
        """Refuse a person who may not add it."""
        action = Action.REPORT_WORK if self.decision else Action.ADD_PHOTOGRAPH
        require(actor, action, roles=self.building.roles_of(actor))

    def resolve_links(self) -> RowFields:
        """Look up what it belongs to; all of it must be of this building."""
        taken = _find_reading(self.building, self.check, self.reading)
        if self.check and taken is None:
            _require_check(self.building, self.check)
        if self.finding and self.decision:
            msg = (
                "A photograph belongs to a finding or to the work of a decision, "
                "not to both."
            )
            raise ValidationError({"finding": msg}, code="both")
        if self.finding:
            _require_same_building(self.building, self.finding, "finding")
        if self.decision:
            _require_same_building(self.building, self.decision.finding, "decision")
        return {
            "check_key": taken.check_key if taken else self.check,
            "reading": taken,
            "finding": self.finding,
            "work_report": _find_work_report(self.decision) if self.decision else None,
        }

    def find_existing(self, client_id: UUID, content: bytes) -> Photograph | None:
        """Find the photograph of this id; refuse another one under the same id."""
        known = Photograph.objects.filter(
            building=self.building, client_id=client_id
        ).first()
        if known is not None and known.request_digest != self._hash_content(content):
            msg = (
                f"The id {client_id} belongs to another photograph of this building "
                "already. Choose an id for each photograph."
            )
            raise ValidationError({"id": msg}, code="taken")
        return known

    def store_row(
        self, actor: Person, client_id: UUID, content: bytes, members: RowFields
    ) -> AddedPhotograph:
        """Store the row unless it exists; the caller holds the building's lock."""
        existing = self.find_existing(client_id, content)
        if existing is not None:
            return AddedPhotograph(existing, created=False)
        row = Photograph.objects.create(
            building=self.building,
            client_id=client_id,
            request_digest=self._hash_content(content),
            taken_at=self.taken_at or now(),
            caption=self.caption,
            recorded_by=actor,
            **members,
        )
        return AddedPhotograph(row, created=True)

    def _hash_content(self, content: bytes) -> str:
        taken_at = self.taken_at and self.taken_at.astimezone(UTC).isoformat()
        return sha256_of(
            {
                "file": hashlib.sha256(content).hexdigest(),
                "taken_at": taken_at,
                "caption": self.caption,
                "check": self.check,
                "reading": self.reading,
                "finding": self.finding and self.finding.pk,
                "decision": self.decision and self.decision.pk,
            }
        )


def store_uploads(uploads: Sequence[UploadedPhotograph]) -> list[RowFields]:
    """Store the files that were uploaded together, before a row names them.

    Raises
    ------
    ValidationError
        On `photographs`, with every file that cannot be stored and why.
    """
    if len(uploads) > MAX_PHOTOGRAPHS_AT_ONCE:
        msg = (
            f"These are {len(uploads)} photographs; at most "
            f"{MAX_PHOTOGRAPHS_AT_ONCE} can be added at once. Add the others later."
        )
        raise ValidationError({"photographs": msg}, code="many")
    kept, refused = [], []
    for each in uploads:
        try:
            kept.append(_store_image_files(each.content))
        except ImageError as fault:
            refused.append(f"{each.name}: {fault}")
    if refused:
        raise ValidationError({"photographs": refused}, code="picture")
    return kept


def attach_work_photographs(
    *, actor: Person, work_report: WorkReport, caption: str, files: Iterable[RowFields]
) -> None:
    """Attach the photographs of a work report, in the transaction of the report."""
    caption = _clean_caption(caption)
    for each in files:
        client_id = uuid4()
        Photograph.objects.create(
            building=work_report.decision.finding.building,
            client_id=client_id,
            request_digest=sha256_of({"id": str(client_id), "file": each["digest"]}),
            taken_at=work_report.at,
            caption=caption,
            recorded_by=actor,
            work_report=work_report,
            **each,
        )


def serialize_photograph(photograph: Photograph) -> dict[str, Any]:
    """Write one photograph for a frozen record: what, who, when, and its digest."""
    return {
        "id": str(photograph.client_id),
        "digest": photograph.digest,
        "width": photograph.width,
        "height": photograph.height,
        "caption": photograph.caption,
        "taken_at": photograph.taken_at.isoformat(),
        "recorded_by": serialize_person(photograph.recorded_by),
        "recorded_at": photograph.recorded_at.isoformat(),
    }


def _clean_caption(text: str) -> str:
    caption = " ".join(text.split())
    if len(caption) > MAX_CAPTION_LENGTH:
        msg = (
            f"The caption has {len(caption)} characters; at most {MAX_CAPTION_LENGTH} "
            "are allowed."
        )
        raise ValidationError({"caption": msg}, code="long")
    if "\x00" in caption:
        msg = "The character U+0000 cannot be stored."
        raise ValidationError({"caption": msg}, code="null")
    return caption


def _require_same_building(building: Building, finding: Finding, name: str) -> None:
    if finding.building_id != building.pk:
        msg = f"This building has no such {name}."
        raise ValidationError({name: msg}, code="elsewhere")


def _find_reading(building: Building, check: str, client_id: str) -> Reading | None:
    if not client_id:
        return None
    found = None
    if "\x00" not in client_id:
        rows = Reading.objects.filter(building=building, client_id=client_id)
        found = rows.first()
    if found is None:
        msg = (
            f"There is no reading {client_id} of this building. Send the reading "
            "first, or leave it out."
        )
        raise ValidationError({"reading": msg}, code="unknown")
    if check and check != found.check_key:
        msg = f"The reading {client_id} is of {found.check_key}, not of {check}."
        raise ValidationError({"reading": msg}, code="check")
    return found


def _require_check(building: Building, check: str) -> None:
    if len(check) > MAX_CHECK_KEY_LENGTH or "\x00" in check:
        msg = f"“{check[:MAX_CHECK_KEY_LENGTH]}” names no check."
        raise ValidationError({"check": msg}, code="unknown")
    try:
        find_check(load_plan(building.current_revision()), check)
    except UnknownCheckError as fault:
        msg = f"{fault} Leave the check out for a photograph of the building."
        raise ValidationError({"check": msg}, code="unknown") from fault


def _find_work_report(decision: Decision) -> WorkReport:
    done: WorkReport | None = getattr(decision, "work_report", None)
    if done is None:
        msg = "The work of this decision is not reported yet. Report it first."
        raise ValidationError({"decision": msg}, code="not_done")
    return done


def _store_single_upload(content: bytes) -> RowFields:
    try:
        return _store_image_files(content)
    except ImageError as fault:
        raise ValidationError({"file": str(fault)}, code="picture") from fault


def _store_image_files(content: bytes) -> RowFields:
    """Store an image and its thumbnail; return the fields of the row."""
    picture = normalise_image(content)
    return {
        "digest": store_file(picture.full),
        "small_digest": store_file(picture.thumbnail),
        "width": picture.width,
        "height": picture.height,
        "size": len(picture.full),
    }
