"""The morning list: who needs me today, why, and what next."""

from django.contrib import messages
from django.db import DatabaseError
from django.http import HttpRequest, HttpResponse, QueryDict
from django.shortcuts import render

from clinic import plan_want_words
from clinic.access import member
from clinic.bad_addresses import LISTED, bad_addresses
from clinic.forms.morning import MorningFilter
from clinic.morning import Morning, read
from clinic.roles import CARERS, CLINICIANS, READERS, REGISTRARS
from clinic.ruler import week_ticks
from education.plans_wanting import plans_wanting
from education.rules.standing import Standing
from patients.clock import now
from patients.open_to import open_to
from patients.programme import NotFounded

FIRST = (Standing.LATE, Standing.DUE, Standing.NEEDS_SIGN_OFF)
REST = (Standing.CLEARED, Standing.NOT_DUE)


@open_to(*READERS)
def morning(request: HttpRequest) -> HttpResponse:
    """Show one page of the list; what cannot be read in full is not shown at all."""
    form = MorningFilter(request.GET)
    try:
        listed = read(form.asked(), at=now(), member_id=member(request).pk)
        form.offer(listed.choices)
        return render(request, "clinic/morning.html", _context(request, listed, form))
    except (DatabaseError, NotFounded):
        return render(request, "clinic/could_not_load.html", status=503)


def _context(request: HttpRequest, listed: Morning, form: MorningFilter) -> dict[str, object]:
    shown = {f"row-{row.assignment.pk}" for row in listed.rows}
    done = list(messages.get_messages(request))
    return {
        "listed": listed,
        "form": form,
        "on": listed.on,
        "zone": listed.programme.zone,
        "counts_first": [(s, listed.standings[s]) for s in FIRST],
        "counts_rest": [(s, listed.standings[s]) for s in REST],
        "done_above": [m for m in done if m.extra_tags not in shown],
        "done_in_row": [(m.extra_tags, m) for m in done if m.extra_tags in shown],
        "may_care": member(request).role in CARERS,
        "may_sign_off": member(request).role in CLINICIANS,
        "here": request.get_full_path(),
        "address": _without_page(request.GET),
        "ticks": week_ticks(listed.span, listed.on),
        **_plans(request, listed),
        **_bad_addresses(request, listed),
    }


def _plans(request: HttpRequest, listed: Morning) -> dict[str, object]:
    """The eating plans that want something; a list that was narrowed down leaves them out."""
    if listed.asked.narrowed or listed.asked.page > 1:
        return {}
    found = plans_wanting(at=listed.at, zone=listed.programme.zone)
    back = request.get_full_path()
    return {
        "plans_wanting": len(found),
        "plan_rows": plan_want_words.rows(found[: plan_want_words.LISTED], on=listed.on, back=back),
    }


def _bad_addresses(request: HttpRequest, listed: Morning) -> dict[str, object]:
    """Patients whom no email reaches, flagged or not; a list that was narrowed down has none."""
    count = listed.other.get("bad_addresses", 0)
    if not count or listed.asked.narrowed or listed.asked.page > 1:
        return {}
    return {
        "bad_count": count,
        "bad": bad_addresses(on=listed.on, zone=listed.programme.zone, limit=LISTED),
        "may_decide": member(request).role in REGISTRARS,
    }


def _without_page(asked: QueryDict) -> str:
    kept = asked.copy()
    kept.pop("page", None)
    return kept.urlencode()
