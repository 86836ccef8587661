"""Hold points, their signatures, and the public check of a digest."""

import re

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
from checks.services.hold_points import (
    find_missing_requirements,
    list_release_gates,
)
from checks.services.releases import (
    find_verified_release,
    sign_release,
)
from checks.views.readings import get_visible_building
from checks.views.requirements import build_gate_sections, build_requirement_lines
from checks.views.view_log import Kind, log_view
from core.permissions import Action, may, require
from core.requests import AuthenticatedRequest
from jobs.models import Building

SHA256_HEX = re.compile(r"[0-9a-fA-F]{64}")


@require_GET
def releases(request: AuthenticatedRequest, pk: int) -> HttpResponse:
    """Show every gate: signed, or what is missing; and what was signed before."""
    building = get_visible_building(request, pk)
    gates = build_gate_sections(building, list_release_gates(building))
    in_force = [gate.release for gate in gates if gate.release]
    context = {
        "building": building,
        "gates": gates,
        "page": paginate_past_releases(building, in_force, request.GET.get("page")),
        "strength": get_strength_status(building),
        "may_sign": may(Action.SIGN_RELEASE, building.roles_of(request.user)),
    }
    return render(request, "checks/releases.html", context)


@require_http_methods(["GET", "POST"])
def sign_stage_release(
    request: AuthenticatedRequest, pk: int, kind: str
) -> HttpResponse:
    """Sign one gate, with the password again or a passkey."""
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
        messages.success(request, f"{release.get_kind_display()} signed.")
        return redirect(release)
    context = {
        "building": building,
        "kind": Release.Kind(kind),
        "form": form,
        "missing": missing,
    }
    status = 400 if form.is_bound else 200
    return render(request, "checks/sign_release.html", context, status=status)


@require_GET
def release(request: AuthenticatedRequest, pk: int) -> HttpResponse:
    """Show a signed release: the record as it was frozen, and the notice."""
    buildings = Building.objects.visible_to(request.user)
    signed = Release.objects.filter(building__in=buildings)
    found = get_object_or_404(
        signed.select_related("building__job", "revision", "signed_by"), pk=pk
    )
    log_view(request, found.building, Kind.RELEASE, pk)
    address = reverse("checks:verify_digest", args=[found.digest])
    context = {
        "release": found,
        "building": found.building,
        "frozen": read_release_record(found),
        "genuine": find_verified_release(found.digest) is not None,
        "verify_url": request.build_absolute_uri(address),
    }
    return render(request, "checks/release.html", context)


@login_not_required
@never_cache
@require_GET
def verify_release(request: HttpRequest, digest: str = "") -> HttpResponse:
    """Say whether a digest is that of a release, to anyone who holds the paper."""
    asked = (digest or request.GET.get("digest", "")).strip()
    well_formed = bool(SHA256_HEX.fullmatch(asked))
    found = find_verified_release(asked) if well_formed else None
    context = {
        "asked": asked,
        "well_formed": well_formed,
        "release": found,
        "signed_by": found.record["signed_by"] if found else None,
    }
    return render(request, "checks/verify_release.html", context)
