"""Photographs: of a check, of a finding, of the work a decision ordered.

The files come first, each under its digest, and the row that names them after; so a row
never points at a file that is not there. What was stored stays as it is.
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

from checks.models import CarriedOut, Decision, Finding, Photograph, Reading
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
Members = Mapping[str, Any]  # of a row


@dataclass(frozen=True, slots=True, kw_only=True)
class UploadedPhotograph:
    """A file that was handed in with others.

    Attributes
    ----------
    name : as its owner knows it, to say which one is refused.
    """

    name: str
    content: bytes


@dataclass(frozen=True, slots=True)
class AddedPhotograph:
    """The photograph in the record; `created` is False when it was there before."""

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
    """Add a photograph to a building's record.

    Sent twice it is one photograph.

    Parameters
    ----------
    actor : who hands it in, and answers for it.
    building : where it was taken.
    client_id : chosen by whoever sends it, once for each photograph.
    content : the file, a JPEG, PNG or WebP.
    taken_at : when, with its zone; now, if left out.
    caption : what it shows.
    check : key of the check it is of.
    reading : client id of the reading it is of; its check need not be named.
    finding : that it is of.
    decision : whose carrying-out it shows.

    Raises
    ------
    PermissionDenied
        If this person may not; to a decision, whoever may carry it out may.
    ValidationError
        By member: of the file, its id, caption, or what it is said to be of.
    """
    said = _PhotographDetails(
        building=building,
        taken_at=taken_at,
        caption=_clean_caption(caption),
        check=check,
        reading=reading,
        finding=finding,
        decision=decision,
    )
    said.require(actor)
    known = said.find_existing(client_id, content)
    if known is not None:
        return AddedPhotograph(known, created=False)
    links = said.resolve_links()
    files = _store_single_upload(content)
    with transaction.atomic():
        # The same twice at once: the second waits here, and then finds the first.
        Building.objects.select_for_update(no_key=True).get(pk=building.pk)
        return said.store_row(actor, client_id, content, {**links, **files})


def add_photographs(
    *,
    actor: Person,
    building: Building,
    batch: UUID,
    handed: Sequence[UploadedPhotograph],
    taken_at: datetime | None = None,
    caption: str = "",
    finding: Finding | None = None,
    decision: Decision | None = None,
) -> list[AddedPhotograph]:
    """Add several photographs of one thing, all of them or none.

    The same batch sent twice is one; for the rest see `add_photograph`.

    Raises
    ------
    ValidationError
        On `photographs`, with every file that cannot be kept and why.
    """
    said = _PhotographDetails(
        building=building,
        taken_at=taken_at,
        caption=_clean_caption(caption),
        finding=finding,
        decision=decision,
    )
    said.require(actor)
    links = said.resolve_links()
    kept = store_uploads(handed)
    with transaction.atomic():
        Building.objects.select_for_update(no_key=True).get(pk=building.pk)
        return [
            said.store_row(
                actor, uuid5(batch, str(place)), each.content, {**links, **files}
            )
            for place, (each, files) in enumerate(zip(handed, kept, strict=True))
        ]


@dataclass(frozen=True, slots=True, kw_only=True)
class _PhotographDetails:
    """What is said of a photograph by whoever hands it in."""

    building: Building
    taken_at: datetime | None
    caption: str
    check: str = ""
    reading: str = ""
    finding: Finding | None = None
    decision: Decision | None = None

    def require(self, actor: Person) -> None:
        """Refuse whoever may not add it."""
        action = Action.REPORT_WORK if self.decision else Action.ADD_PHOTOGRAPH
        require(actor, action, roles=self.building.roles_of(actor))

    def resolve_links(self) -> Members:
        """Look up what it is of; all of it belongs to the building."""
        taken = _find_reading(self.building, self.check, self.reading)
        if self.check and taken is None:
            _require_check(self.building, self.check)
        if self.finding and self.decision:
            msg = (
                "A photograph is of a finding or of what was done about it, "
                "not of both."
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
            "carried_out": _find_work_report(self.decision) if self.decision else None,
        }

    def find_existing(self, client_id: UUID, content: bytes) -> Photograph | None:
        """Find what was sent under this id before; refuse another under the same."""
        known = Photograph.objects.filter(
            building=self.building, client_id=client_id
        ).first()
        if known is not None and known.sent != self._hash_content(content):
            msg = (
                f"The id {client_id} belongs to another photograph of this building "
                "already; give each photograph an id of its own."
            )
            raise ValidationError({"id": msg}, code="taken")
        return known

    def store_row(
        self, actor: Person, client_id: UUID, content: bytes, members: Members
    ) -> AddedPhotograph:
        """Store it, unless it is there; in a transaction, the building locked."""
        known = self.find_existing(client_id, content)
        if known is not None:
            return AddedPhotograph(known, created=False)
        row = Photograph.objects.create(
            building=self.building,
            client_id=client_id,
            sent=self._hash_content(content),
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


def store_uploads(handed: Sequence[UploadedPhotograph]) -> list[Members]:
    """Keep the files that were handed in together, before a row names them.

    Raises
    ------
    ValidationError
        On `photographs`, with every file that cannot be kept and why.
    """
    if len(handed) > MAX_PHOTOGRAPHS_AT_ONCE:
        msg = (
            f"These are {len(handed)} photographs; at most {MAX_PHOTOGRAPHS_AT_ONCE} go at "
            "once. Add the others afterwards."
        )
        raise ValidationError({"photographs": msg}, code="many")
    kept, refused = [], []
    for each in handed:
        try:
            kept.append(_store_image_files(each.content))
        except ImageError as fault:
            refused.append(f"{each.name}: {fault}")
    if refused:
        raise ValidationError({"photographs": refused}, code="picture")
    return kept


def attach_work_photographs(
    *, actor: Person, carried_out: CarriedOut, caption: str, files: Iterable[Members]
) -> None:
    """Write down the photographs that came with a report of work, in its transaction.

    Whoever may report it may do so.
    """
    caption = _clean_caption(caption)
    for each in files:
        client_id = uuid4()
        Photograph.objects.create(
            building=carried_out.decision.finding.building,
            client_id=client_id,
            sent=sha256_of({"id": str(client_id), "file": each["digest"]}),
            taken_at=carried_out.at,
            caption=caption,
            recorded_by=actor,
            carried_out=carried_out,
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
        msg = f"This is {len(caption)} characters long; {MAX_CAPTION_LENGTH} are the most."
        raise ValidationError({"caption": msg}, code="long")
    if "\x00" in caption:
        msg = "The character U+0000 cannot be kept."
        raise ValidationError({"caption": msg}, code="null")
    return caption


def _require_same_building(building: Building, finding: Finding, name: str) -> None:
    if finding.building_id != building.pk:
        msg = f"There is no such {name} of this building."
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
            f"There is no reading {client_id} of this building: send the reading "
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
        msg = f"{fault} Or leave the check out: then it is of the building."
        raise ValidationError({"check": msg}, code="unknown") from fault


def _find_work_report(decision: Decision) -> CarriedOut:
    done: CarriedOut | None = getattr(decision, "carried_out", None)
    if done is None:
        msg = "This decision is not reported as carried out yet: report that first."
        raise ValidationError({"decision": msg}, code="not_done")
    return done


def _store_single_upload(content: bytes) -> Members:
    try:
        return _store_image_files(content)
    except ImageError as fault:
        raise ValidationError({"file": str(fault)}, code="picture") from fault


def _store_image_files(content: bytes) -> Members:
    """Keep a picture's two files; give what a row says of them."""
    picture = normalise_image(content)
    return {
        "digest": store_file(picture.full),
        "small_digest": store_file(picture.thumbnail),
        "width": picture.width,
        "height": picture.height,
        "size": len(picture.full),
    }
