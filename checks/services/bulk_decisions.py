"""Decisions on several findings of one building at once, all or none.

Each finding gets its own decision and its own step in the history, through the service
for one finding. If one is refused nothing is done for any, and the refusal names that
finding with the reason.
"""

from collections.abc import Callable, Container, Iterator, Mapping, Sequence
from contextlib import contextmanager
from typing import NoReturn, TypeVar

from django.core.exceptions import PermissionDenied, ValidationError
from django.db import transaction

from checks.evaluation.finding_topics import TopicKind
from checks.labels import describe_topic
from checks.models import Decision, Finding, Reading
from checks.services.errors import ConflictError
from checks.services.findings import decide_finding, request_remeasurement
from core.models import Person, Role
from core.permissions import Action, may
from jobs.models import Building

MAX_BULK_FINDINGS = 100  # under one signature; project choice
SHARED_FIELDS = frozenset({"note", "disposition"})  # one value for all findings
ResultT = TypeVar("ResultT")


def bulk_decide_findings(
    *,
    actor: Person,
    findings: Sequence[Finding],
    choice: str,
    disposition: str,
    note: str = "",
    seen: Mapping[int, int] | None = None,
    signed_with: str = "",
) -> list[Decision]:
    """Order the same remedy for several findings, each with its own dimensions.

    Parameters
    ----------
    actor : as for one decision.
    findings : of one building, in the order of the decisions.
    choice : name of a remedy that each finding has exactly once, or "accept".
    disposition : a `DispositionKind`.
    note : as for one decision, the same for all.
    seen : key of the last event that the page showed, by the finding's key.
    signed_with : as for one decision.

    Raises
    ------
    PermissionDenied, ConflictError, ValidationError
        As for one decision, naming the finding; then nothing is decided.
    """
    seen = seen or {}

    def act(finding: Finding) -> Decision:
        return decide_finding(
            actor=actor,
            finding=finding,
            choice="accept"
            if choice == "accept"
            else _find_remedy_index(finding, choice),
            disposition=disposition,
            note=note,
            seen=seen.get(finding.pk),
            signed_with=signed_with,
        )

    return _apply_to_each(findings, act)


def bulk_request_remeasurement(
    *,
    actor: Person,
    findings: Sequence[Finding],
    note: str,
    seen: Mapping[int, int] | None = None,
) -> None:
    """Request another measurement for several findings, for one reason.

    Parameters
    ----------
    actor, note : as for one finding.
    findings : of one building.
    seen : key of the last event that the page showed, by the finding's key.

    Raises
    ------
    PermissionDenied, ConflictError, ValidationError
        As for one finding, naming it; then nothing is requested.
    """
    seen = seen or {}

    def act(finding: Finding) -> None:
        request_remeasurement(
            actor=actor, finding=finding, note=note, seen=seen.get(finding.pk)
        )

    _apply_to_each(findings, act)


def list_common_orders(
    findings: Sequence[Finding], approvals: Container[str] = ("field", "engineer")
) -> list[str]:
    """List what can be ordered for all findings: remedies, and "accept" last.

    Parameters
    ----------
    findings : of one building.
    approvals : those that the person can give, "field" and "engineer".
    """
    names = [
        name
        for name in list_common_remedies(findings)
        if name != "remeasure"
        and all(_get_approval(finding, name) in approvals for finding in findings)
    ]
    strength = any(finding.topic == TopicKind.STRENGTH for finding in findings)
    return names if strength or "engineer" not in approvals else [*names, "accept"]


def _get_approval(finding: Finding, name: str) -> str:
    return str(finding.remedies[_find_remedy_index(finding, name)].get("approval"))


def list_approvals(actor: Person, building: Building) -> list[str]:
    """List the approvals that a person's roles give, whatever they measured."""
    roles = building.roles_of(actor)
    if may(Action.DECIDE, roles):
        return ["field", "engineer"]
    return ["field"] if Role.OPERATIONS in roles else []


def find_measured_by(actor: Person, findings: Sequence[Finding]) -> frozenset[int]:
    """Return the keys of the findings whose readings this person recorded."""
    keys = {key for finding in findings for key in finding.checks}
    taken = set(
        Reading.objects.filter(
            building__in={finding.building_id for finding in findings},
            check_key__in=keys,
            recorded_by=actor,
        ).values_list("building", "check_key")
    )
    return frozenset(
        finding.pk
        for finding in findings
        if any((finding.building_id, key) in taken for key in finding.checks)
    )


def list_common_remedies(findings: Sequence[Finding]) -> list[str]:
    """List the remedies that all findings have, in the order of the first finding.

    A remedy that a finding has twice, such as two moves of the steel, is left out:
    it is chosen on the page of that finding.
    """
    if not findings:
        return []
    names = [[row["remedy"] for row in finding.remedies] for finding in findings]
    return [name for name in names[0] if all(each.count(name) == 1 for each in names)]


def _apply_to_each(
    findings: Sequence[Finding], act: Callable[[Finding], ResultT]
) -> list[ResultT]:
    with transaction.atomic():
        _require_one_building(findings)
        # Lock the building first: same order everywhere, no deadlock.
        Building.objects.select_for_update(no_key=True).get(pk=findings[0].building_id)
        done = []
        for finding in findings:
            with _prefix_errors(finding):
                done.append(act(finding))
    return done


def _require_one_building(findings: Sequence[Finding]) -> None:
    if not findings:
        msg = "Choose at least one finding."
        raise ValidationError({"findings": msg}, code="required")
    if len(findings) > MAX_BULK_FINDINGS:
        msg = f"Choose at most {MAX_BULK_FINDINGS} findings at once."
        raise ValidationError({"findings": msg}, code="too_many")
    if len({finding.building_id for finding in findings}) > 1:
        msg = "Choose findings of one building only."
        raise ValidationError({"findings": msg}, code="buildings")


def _find_remedy_index(finding: Finding, choice: str) -> int:
    if choice in list_common_remedies([finding]):
        return [row["remedy"] for row in finding.remedies].index(choice)
    msg = f"The remedy “{choice}” is not computed for this finding."
    raise ValidationError({"choice": msg}, code="choice")


@contextmanager
def _prefix_errors(finding: Finding) -> Iterator[None]:
    """Prefix every refusal with the name of the finding."""
    name = describe_topic(finding.topic)
    try:
        yield
    except PermissionDenied as error:
        raise PermissionDenied(f"{name}: {error}") from error
    except ConflictError as error:
        raise ConflictError(f"{name}: {error}", error.code) from error
    except ValidationError as error:
        _raise_prefixed(name, error)


def _raise_prefixed(name: str, error: ValidationError) -> NoReturn:
    if hasattr(error, "error_dict"):
        prefixed = {
            field: texts
            if field in SHARED_FIELDS
            else [f"{name}: {text}" for text in texts]
            for field, texts in error.message_dict.items()
        }
        raise ValidationError(prefixed) from error
    raise ValidationError([f"{name}: {text}" for text in error.messages]) from error
