"""Send the link to several patients: say who, ask once, and take it back within a minute."""

from datetime import UTC, datetime, timedelta

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse, HttpResponseRedirect
from django.shortcuts import render
from django.urls import reverse
from django.views.decorators.http import require_POST

from clinic.access import member
from clinic.ids import id_in
from clinic.once import once
from clinic.reach import reached
from clinic.roles import CARERS
from clinic.views.acts import way_back
from clinic.words import NO_LINK_NOW, REFUSAL
from education.invite import Refusal, invite, refusal, take_back
from education.models import Assignment, Invitation, MessageState
from education.rules.next_step import next_step
from education.standings import standings
from patients.clock import local_date, now
from patients.open_to import open_to
from patients.programme import current

MOST = 200
MINUTE = timedelta(seconds=60)
EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
MICROSECOND = timedelta(microseconds=1)


@open_to(*CARERS)
@once
def invite_several(request: HttpRequest) -> HttpResponse:
    """GET shows who would get a link and who cannot, and why; POST sends, a minute from now."""
    at = now()
    weighed = _weigh(chosen(request), at=at)
    if request.method != "POST":
        context = {
            "sendable": [a for a, against in weighed if not against],
            "refused": [(a, against) for a, against in weighed if against],
            "back": way_back(request, reverse("morning")),
        }
        return render(request, "clinic/invite_several.html", context)
    by_id = member(request).pk
    for assignment, against in weighed:
        if not against:
            sent = invite(assignment, at=at, by_id=by_id, not_before=at + MINUTE)
            against = REFUSAL[sent] if isinstance(sent, Refusal) else ""
        if against:
            name = assignment.operation.patient.full_name
            messages.warning(request, f"Not sent to {name}: {against}.")
    stamp = (at - EPOCH) // MICROSECOND
    return HttpResponseRedirect(reverse("invited-several", args=[stamp]))


@open_to(*CARERS)
def invited_several(request: HttpRequest, stamp: int) -> HttpResponse:
    """Show the links that go out together, and the button that takes them back."""
    at = now()
    invitations = _together(request, stamp)
    waiting = [i for i in invitations if i.message.state == MessageState.WAITING]
    context = {
        "invitations": invitations,
        "waiting": waiting,
        "stamp": stamp,
        "goes_at": instant_of(stamp) + MINUTE,
        "in_time": at < instant_of(stamp) + MINUTE,
        "zone": current().zone,
    }
    return render(request, "clinic/invited_several.html", context)


@open_to(*CARERS)
@once
@require_POST
def take_back_invitations(request: HttpRequest, stamp: int) -> HttpResponse:
    """End the links whose emails have not gone out."""
    at = now()
    by_id = member(request).pk
    invitations = _together(request, stamp)
    taken = sum(take_back(invitation, at=at, by_id=by_id) for invitation in invitations)
    gone = len(invitations) - taken
    if taken:
        messages.success(request, f"{taken} taken back: no email goes out.")
    if gone:
        messages.warning(request, f"{gone} had gone out already, or had ended before.")
    return HttpResponseRedirect(reverse("invited-several", args=[stamp]))


def chosen(request: HttpRequest) -> list[Assignment]:
    """Return the assignments that were ticked, or all of a page."""
    given = request.POST if request.method == "POST" else request.GET
    listed = given.get("all", "").split(",") if "all" in given else given.getlist("a")
    ids = [id_in(one) for one in listed[:MOST]]
    rows = Assignment.objects.filter(pk__in=ids).select_related("operation__patient", "module")
    return list(rows.order_by("operation__patient__family_names", "id"))


def _weigh(asked: list[Assignment], *, at: datetime) -> list[tuple[Assignment, str]]:
    """Return each assignment with what speaks against sending, empty when nothing does."""
    settings = current()
    on = local_date(at, settings.zone)
    weighed = []
    for told in standings(asked, on=on):
        refused = refusal(told.assignment, at=at)
        step = next_step(told.answer, reached(told, at=at, zone=settings.zone).reach, on=on)
        against = REFUSAL[refused] if refused else NO_LINK_NOW.get(step, "")
        weighed.append((told.assignment, against))
    return weighed


def _together(request: HttpRequest, stamp: int) -> list[Invitation]:
    """The invitations that this member of staff sent in one act."""
    rows = Invitation.objects.filter(by=member(request).pk, recorded_at=instant_of(stamp))
    return list(rows.select_related("message", "end", "assignment__operation__patient"))


def instant_of(stamp: int) -> datetime:
    """Return the instant, in microseconds, by which what was made in one act is known."""
    try:
        return EPOCH + stamp * MICROSECOND
    except OverflowError as beyond:
        raise Http404 from beyond
