"""Schedules that another system sends as FHIR bundles, and the tokens by which it may."""

import logging
import re
import uuid

from django import forms
from django.conf import settings
from django.contrib import messages
from django.db import Error
from django.http import HttpRequest, HttpResponse, HttpResponseBadRequest
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.views.decorators.csrf import csrf_exempt
from django.views.decorators.http import require_http_methods, require_POST

from clinic.access import member
from clinic.models import Role
from clinic.once import once
from patients import programme
from patients.clock import now
from patients.intake_tokens import TooSoon, make, revoke, use
from patients.models import IntakeToken
from patients.open_to import TOKEN_HOLDER, open_to
from patients.programme import NotFounded
from patients.receive_fhir import MAX_BUNDLE_BYTES, receive
from patients.rules.fhir_outcome import Code, Issue, Severity, outcome

log = logging.getLogger(__name__)

JSON_TYPES = ("application/fhir+json", "application/json")
BEARER = re.compile(r"Bearer ([A-Za-z0-9_.~+/=-]{1,200})", re.IGNORECASE)


class NewTokenForm(forms.Form):
    """Which system it is for."""

    name = forms.CharField(
        max_length=120,
        label="Which system sends",
        help_text="Shown beside every schedule that comes with this token.",
        error_messages={"required": "Say which system it is for."},
    )


# No cookie gives leave here, so no other site can make a browser send one: the token does.
@open_to(TOKEN_HOLDER)
@csrf_exempt
@require_POST
def fhir_intake(request: HttpRequest) -> HttpResponse:
    """Take in a bundle, `Authorization: Bearer TOKEN`; answers an OperationOutcome."""
    at = now()
    try:
        bearer = BEARER.fullmatch(request.headers.get("Authorization", ""))
        token = use(bearer[1], at=at) if bearer else None
        if token is None:
            return _answer(401, Code.LOGIN, "a token is needed", {"WWW-Authenticate": "Bearer"})
        if request.content_type not in JSON_TYPES:
            return _answer(415, Code.NOT_SUPPORTED, "send application/fhir+json")
        answered = receive(
            request.read(MAX_BUNDLE_BYTES + 1), at=at, source=f"sent by {token.name}"
        )
    except TooSoon:
        return _answer(429, Code.THROTTLED, "send again in a second", {"Retry-After": "1"})
    except (Error, NotFounded):
        log.warning("A schedule that was sent could not be kept.")
        later = {"Retry-After": "60"}
        return _answer(503, Code.TRANSIENT, "it was not kept: send it again", later)
    return HttpResponse(answered.content, JSON_TYPES[0], status=answered.status)


def _answer(
    status: int, code: Code, words: str, headers: dict[str, str] | None = None
) -> HttpResponse:
    content = outcome(Issue(Severity.ERROR, code, words))
    return HttpResponse(content, JSON_TYPES[0], status=status, headers=headers)


@open_to(Role.ADMINISTRATOR)
@require_http_methods(["GET", "HEAD", "POST"])
def intake_tokens(request: HttpRequest) -> HttpResponse:
    """Every token with its last use. A POST makes one and shows it, this once."""
    form = NewTokenForm(request.POST if request.method == "POST" else None)
    made = ""
    if request.method == "POST" and form.is_valid():
        try:
            key = uuid.UUID(request.POST.get("act_key", ""))
        except ValueError:
            return HttpResponseBadRequest(
                "This form is incomplete. Go back and load the page again."
            )
        made = make(form.cleaned_data["name"], key=key, at=now(), by_id=member(request).pk)
        form = NewTokenForm()
    context = {
        "form": form,
        "made": made,
        "tokens": IntakeToken.objects.select_related("by", "revoked_by").order_by("-id"),
        "address": settings.PUBLIC_URL + reverse("fhir-intake"),
        "zone": programme.current().zone,
    }
    status = 422 if form.errors else 200
    return render(request, "clinic/intake_tokens.html", context, status=status)


@open_to(Role.ADMINISTRATOR)
@require_POST
@once
def revoke_intake_token(request: HttpRequest, token_id: int) -> HttpResponse:
    """End a token for good."""
    token = get_object_or_404(IntakeToken, pk=token_id)
    if revoke(token, at=now(), by_id=member(request).pk):
        messages.success(request, f"The token of {token.name} is revoked.")
    return redirect("intake-tokens")
