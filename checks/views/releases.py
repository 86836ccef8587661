"""The releases of a building: signing, the signed record, public verification."""

import re
from dataclasses import dataclass

from django.contrib import messages
from django.contrib.auth.decorators import login_not_required
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_GET, require_http_methods

from checks.forms.decisions import SignReleaseForm
from checks.models import Release
from checks.queries.releases import paginate_past_releases, read_release_record
from checks.queries.strength_status import get_strength_status
from checks.services.errors import ConflictError, NotReadyError
from checks.services.hold_points import find_missing_requirements, list_release_gates
from checks.services.releases import find_verified_release, sign_release
from checks.views.readings import get_visible_building
from checks.views.requirements import (
    GateSection,
    build_gate_sections,
    build_requirement_lines,
)
from checks.views.view_log import Kind, log_view
from core.permissions import Action, may, require
from core.requests import AuthenticatedRequest
from jobs.models import Building

SHA256_HEX = re.compile(r"[0-9a-fA-F]{64}")


@dataclass(frozen=True, slots=True, kw_only=True)
class ReleaseCard:
    """A release as the page shows it.

    Attributes
    ----------
    name : the label within a sentence.
    state : "signed", "blocked" or "ready".
    css_class : of the card.
    """

    gate: GateSection
    name: str
    state: str
    css_class: str
    may_sign: bool


def build_release_card(gate: GateSection, *, may_sign: bool) -> ReleaseCard:
    """Prepare one release for the page."""
    state = "signed" if gate.release else "blocked" if gate.missing else "ready"
    return ReleaseCard(
        gate=gate,
        name=lower_first(gate.label),
        state=state,
        css_class={"signed": "within", "ready": "accent", "blocked": ""}[state],
        may_sign=may_sign,
    )


def lower_first(label: str) -> str:
    """Return a label as it stands within a sentence."""
    return f"{label[:1].lower()}{label[1:]}"


@require_GET
def releases(request: AuthenticatedRequest, pk: int) -> HttpResponse:
    """Show every release, signed or with what blocks it, and the earlier ones."""
    building = get_visible_building(request, pk)
    gates = build_gate_sections(building, list_release_gates(building))
    may_sign = may(Action.SIGN_RELEASE, building.roles_of(request.user))
    in_force = [gate.release for gate in gates if gate.release]
    context = {
        "building": building,
        "cards": [build_release_card(gate, may_sign=may_sign) for gate in gates],
        "page": paginate_past_releases(building, in_force, request.GET.get("page")),
        "strength": get_strength_status(building),
    }
    return render(request, "checks/releases.html", context)


@require_http_methods(["GET", "POST"])
def sign_stage_release(
    request: AuthenticatedRequest, pk: int, kind: str
) -> HttpResponse:
    """Sign one release, with the password or a passkey."""
    building = get_visible_building(request, pk)
    if kind not in Release.Kind.values():
        raise Http404
    roles = building.roles_of(request.user)
    require(request.user, Action.SIGN_RELEASE, roles=roles)
    form = SignReleaseForm(request.POST or None, request=request)
    missing = build_requirement_lines(
        building, find_missing_requirements(building, kind)
    )
    if form.is_valid():
        try:
            release = sign_release(
                actor=request.user,
                building=building,
                kind=kind,
                note=form.cleaned_data["note"],
                signed_with=form.signed_with,
            )
        except NotReadyError:
            messages.warning(request, "Not signed: it is blocked, see below.")
            return redirect("checks:releases", building.pk)
        except ConflictError as error:
            messages.warning(request, str(error))
            return redirect("checks:releases", building.pk)
        name = lower_first(release.get_kind_display())
        messages.success(request, f"The {name} is signed.")
        return redirect(release)
    context = {
        "building": building,
        "name": lower_first(Release.Kind(kind).label),
        "writes_notice": kind == Release.Kind.ERECT,
        "form": form,
        "missing": missing,
    }
    status = 400 if form.is_bound else 200
    return render(request, "checks/sign_release.html", context, status=status)


def get_visible_release(
    request: AuthenticatedRequest, pk: int, *related: str
) -> Release:
    """Return a release this person may see; 404 for all others."""
    buildings = Building.objects.visible_to(request.user)
    releases = Release.objects.filter(building__in=buildings)
    return get_object_or_404(releases.select_related(*related), pk=pk)


@require_GET
def release(request: AuthenticatedRequest, pk: int) -> HttpResponse:
    """Show a signed release: its frozen record and the notice to the erector."""
    signed = get_visible_release(request, pk, "building__job", "revision", "signed_by")
    log_view(request, signed.building, Kind.RELEASE, pk)
    path = reverse("checks:verify_digest", args=[signed.digest])
    context = {
        "release": signed,
        "building": signed.building,
        "frozen": read_release_record(signed),
        "genuine": find_verified_release(signed.digest) is not None,
        "verify_url": request.build_absolute_uri(path),
    }
    return render(request, "checks/release.html", context)


@login_not_required
@never_cache
@require_GET
def verify_release(request: HttpRequest, digest: str = "") -> HttpResponse:
    """Show whether a digest belongs to a release; public, for whoever has the PDF."""
    text = (digest or request.GET.get("digest", "")).strip()
    is_digest = bool(SHA256_HEX.fullmatch(text))
    verified = find_verified_release(text) if is_digest else None
    context = {
        "digest": text,
        "is_digest": is_digest,
        "release": verified,
        "signed_by": verified.record["signed_by"] if verified else None,
    }
    return render(request, "checks/verify_release.html", context)
