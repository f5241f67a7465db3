"""A member of staff's own page: her morning digest, and the way to her password."""

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_http_methods

from clinic.access import member
from clinic.digest import choose, hour_of, missed
from clinic.forms.own_page import OFF, DigestForm
from clinic.models import Role
from clinic.once import once
from patients import programme
from patients.clock import local_date, now
from patients.open_to import open_to


@open_to(*Role)
@require_http_methods(["GET", "HEAD", "POST"])
@once
def own_page(request: HttpRequest) -> HttpResponse:
    """Switch the digest on or off; see which of the last week were not sent."""
    at, who = now(), member(request)
    hour = hour_of(who)
    form = DigestForm(
        request.POST if request.method == "POST" else None,
        initial={"hour": OFF if hour is None else str(hour)},
    )
    if form.is_valid():
        choose(who, form.chosen(), at=at)
        off = form.chosen() is None
        messages.success(
            request, "No digest comes any more." if off else "Saved, from the next working day on."
        )
        return redirect("own-page")
    used = programme.current()
    context = {
        "form": form,
        "missed": missed(who, on=local_date(at, used.zone)),
        "time_zone": used.time_zone,
    }
    return render(request, "clinic/own_page.html", context, status=400 if form.is_bound else 200)
