"""Several findings of one building decided at once, or asked about at once.

Each gets its own decision and its own step in the history through the services for
one finding. All of them or none: where one cannot, nothing is done for any, and the
refusal names the finding and the reason.
"""

from collections.abc import Callable, Container, Iterator, Mapping, Sequence
from contextlib import contextmanager
from typing import NoReturn, TypeVar

from django.core.exceptions import PermissionDenied, ValidationError
from django.db import transaction

from checks.labels import describe_topic
from checks.models import Decision, Finding, Reading
from checks.services.errors import ConflictError
from checks.services.findings import decide_finding, request_remeasurement
from core.models import Person, Role
from core.permissions import Action, may
from jobs.models import Building

MAX_BULK_FINDINGS = 100  # findings under one signature; ours
SHARED_FIELDS = frozenset({"note", "disposition"})  # typed once for all of them
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
    """Order the same remedy for several findings, each with its own figures.

    Parameters
    ----------
    actor : as for one decision.
    findings : of one building, in the order the decisions are made.
    choice : the remedy by its name, which each finding has exactly once; or "accept".
    disposition : a word of `Disposition`.
    note : as for one decision, the same for all.
    seen : the last event the decider saw of each finding, by the finding's key.
    signed_with : as for one decision.

    Raises
    ------
    PermissionDenied, ConflictError, ValidationError
        As for one decision, the finding named; then nothing is decided.
    """
    known = seen or {}

    def one(finding: Finding) -> Decision:
        return decide_finding(
            actor=actor,
            finding=finding,
            choice="accept"
            if choice == "accept"
            else _find_remedy_index(finding, choice),
            disposition=disposition,
            note=note,
            seen=known.get(finding.pk),
            signed_with=signed_with,
        )

    return _apply_to_each(findings, one)


def bulk_request_remeasurement(
    *,
    actor: Person,
    findings: Sequence[Finding],
    note: str,
    seen: Mapping[int, int] | None = None,
) -> None:
    """Ask the field to measure the checks of several findings again, for one reason.

    Parameters
    ----------
    actor, note : as for one finding.
    findings : of one building.
    seen : the last event the asker saw of each finding, by the finding's key.

    Raises
    ------
    PermissionDenied, ConflictError, ValidationError
        As for one finding, which is named; then nothing is asked.
    """
    known = seen or {}

    def one(finding: Finding) -> None:
        request_remeasurement(
            actor=actor, finding=finding, note=note, seen=known.get(finding.pk)
        )

    _apply_to_each(findings, one)


def list_common_orders(
    findings: Sequence[Finding], approvals: Container[str] = ("field", "engineer")
) -> list[str]:
    """Name what can be ordered for all of them: remedies, and "accept" as the last.

    Parameters
    ----------
    findings : of one building.
    approvals : those whoever decides can give, "field" and "engineer".
    """
    names = [
        name
        for name in list_common_remedies(findings)
        if name != "remeasure"
        and all(_get_approval(finding, name) in approvals for finding in findings)
    ]
    strength = any(finding.topic == "strength" for finding in findings)
    return names if strength or "engineer" not in approvals else [*names, "accept"]


def _get_approval(finding: Finding, name: str) -> str:
    return str(finding.remedies[_find_remedy_index(finding, name)].get("approval"))


def list_approvals(actor: Person, building: Building) -> list[str]:
    """Name the approvals that this person's roles give; readings apart."""
    roles = building.roles_of(actor)
    if may(Action.DECIDE, roles):
        return ["field", "engineer"]
    return ["field"] if Role.OPERATIONS in roles else []


def find_measured_by(actor: Person, findings: Sequence[Finding]) -> frozenset[int]:
    """Tell on which of them this person cannot decide, having measured for them."""
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
    """Name what can be ordered for all of them, in the order of the first.

    A remedy that a finding has twice, such as two moves of the steel, is chosen on
    the page of that finding.
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
        # As for one finding: the building first, so that nobody waits crosswise.
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
        msg = (
            f"At most {MAX_BULK_FINDINGS} findings are decided together; choose fewer."
        )
        raise ValidationError({"findings": msg}, code="too_many")
    if len({finding.building_id for finding in findings}) > 1:
        msg = "Only findings of one building are decided together."
        raise ValidationError({"findings": msg}, code="buildings")


def _find_remedy_index(finding: Finding, choice: str) -> int:
    if choice in list_common_remedies([finding]):
        return [row["remedy"] for row in finding.remedies].index(choice)
    msg = f"The remedy “{choice}” is not among those computed for it."
    raise ValidationError({"choice": msg}, code="choice")


@contextmanager
def _prefix_errors(finding: Finding) -> Iterator[None]:
    """Put the finding's name before whatever speaks against it."""
    name = describe_topic(finding.topic)
    try:
        yield
    except PermissionDenied as error:
        raise PermissionDenied(f"{name}: {error}") from error
    except ConflictError as error:
        raise ConflictError(f"{name}: {error}") from error
    except ValidationError as error:
        _raise_prefixed(name, error)


def _raise_prefixed(name: str, error: ValidationError) -> NoReturn:
    if hasattr(error, "error_dict"):
        told = {
            field: texts
            if field in SHARED_FIELDS
            else [f"{name}: {text}" for text in texts]
            for field, texts in error.message_dict.items()
        }
        raise ValidationError(told) from error
    raise ValidationError([f"{name}: {text}" for text in error.messages]) from error
