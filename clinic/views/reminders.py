"""The mail that the programme sends of its own accord: its rules, and what they would send."""

from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_http_methods

from clinic.access import member
from clinic.forms.reminders import MailRulesForm, Reminders, initial, typed
from clinic.once import once
from clinic.reminders_page import foresee
from clinic.roles import MAIL_KEEPERS
from education import mail_rules
from education.models import MailRules
from patients import programme
from patients.clock import now
from patients.models import latest_first
from patients.open_to import open_to


@open_to(*MAIL_KEEPERS)
@require_http_methods(["GET", "HEAD", "POST"])
@once
def reminders(request: HttpRequest) -> HttpResponse:
    """GET shows the rules in force and their preview; POST previews what was typed, or saves it."""
    at = now()
    rules = mail_rules.current()
    own, rows = initial(rules)
    sent = request.POST if request.method == "POST" else None
    form = MailRulesForm(sent, initial=own)
    formset = Reminders(sent, initial=rows, prefix="reminder")
    valid = sent is not None and form.is_valid() and formset.is_valid()
    if valid:
        wanted = typed(form, formset)
        if request.POST.get("save"):
            mail_rules.change(at=at, by_id=member(request).pk, **wanted)
            messages.success(request, "Saved. It holds from now on.")
            return redirect("reminders")
        rules = MailRules(**wanted)
    context: dict[str, Any] = {
        "form": form,
        "rows": formset,
        "preview": foresee(rules, at=at) if sent is None or valid else None,
        "typed": valid,
        "history": MailRules.objects.select_related("by").order_by(*latest_first())[:20],
        "zone": programme.current().zone,
    }
    status = 200 if sent is None or valid else 400
    return render(request, "clinic/reminders.html", context, status=status)
