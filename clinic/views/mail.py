"""The programme's mail: what waits, what failed, what is in doubt; hold, release, send again."""

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from clinic.access import about, member
from clinic.forms.mail import HoldForm, WordsForm
from clinic.mail_page import Show, read
from clinic.once import once
from clinic.roles import CARERS, MAIL_KEEPERS, READERS, REGISTRARS
from education import email_words, mail_hold
from education.emails import preview_of
from education.mail_decisions import Undecidable, decide
from education.models import MailVerdict, Message
from patients import programme
from patients.clock import now
from patients.open_to import open_to
from patients.rules.languages import choices, codes, name_of

EMAILS = {
    "invitation": "The link to a module, also one that a patient renewed",
    "reminder": "A reminder",
    "answer": "An answer to a question waits",
    "plan": "The link to an eating plan",
    "plan_moved": "The days of an eating plan moved",
}


@open_to(*READERS)
@require_safe
def mail(request: HttpRequest) -> HttpResponse:
    """One list of emails, and whether all mail is held."""
    return _mail(request, HoldForm())


@open_to(*MAIL_KEEPERS)
@require_POST
@once
def mail_held(request: HttpRequest) -> HttpResponse:
    """Hold all mail, or release it, with the reason."""
    form = HoldForm(request.POST)
    if not form.is_valid():
        return _mail(request, form, status=400)
    change = mail_hold.release if request.POST.get("release") else mail_hold.hold
    said = {"reason": form.cleaned_data["reason"], "at": now(), "by_id": member(request).pk}
    if not change(**said):
        messages.info(request, "Nothing was changed: it was so already.")
    elif request.POST.get("release"):
        messages.success(request, "Mail goes out again.")
    else:
        messages.success(request, "All mail is held from now on.")
    return redirect("mail")


@open_to(*REGISTRARS)
@require_POST
@once
def mail_decided(request: HttpRequest, pk: int) -> HttpResponse:
    """Send one email again, or take one that is in doubt as sent."""
    message = get_object_or_404(Message, pk=pk)
    if message.patient_id:
        about(request, message.patient_id)
    if request.POST.get("verdict") not in list(MailVerdict):
        raise Http404
    verdict = MailVerdict(request.POST["verdict"])
    refused = decide(message.pk, verdict, at=now(), by_id=member(request).pk)
    if isinstance(refused, Undecidable):
        messages.info(request, "Nothing was changed: this was settled meanwhile.")
    elif refused:
        messages.warning(request, f"Not sent again: {refused}.")
    elif verdict == MailVerdict.SEND_AGAIN:
        messages.success(request, f"The email to {message.address} goes out again.")
    else:
        messages.success(request, f"The email to {message.address} is taken as sent.")
    return redirect("mail")


@open_to(*MAIL_KEEPERS)
@require_safe
def mail_texts(request: HttpRequest) -> HttpResponse:
    """Which emails have words that can be changed, and which were."""
    own = email_words.changed()
    listed = [
        (name, words, [(code, label, (name, code) in own) for code, label in choices()])
        for name, words in EMAILS.items()
    ]
    return render(request, "clinic/mail_texts.html", {"listed": listed})


@open_to(*MAIL_KEEPERS)
@require_http_methods(["GET", "HEAD", "POST"])
@once
def mail_text(request: HttpRequest, email: str, language: str) -> HttpResponse:
    """The words of one email in one language: preview, save, or go back to the original."""
    if email not in email_words.EDITABLE or language not in codes():
        raise Http404
    at, by_id = now(), member(request).pk
    if request.POST.get("restore"):
        restored = email_words.restore(email, language, at=at, by_id=by_id)
        said = "The original words are back." if restored else "These are the original words."
        messages.success(request, said)
        return redirect("mail-text", email, language)
    words = email_words.in_force(email, language)
    sent = request.POST if request.method == "POST" else None
    form = WordsForm(sent, initial=words.__dict__, name=email, language=language)
    if form.is_valid():
        words = form.words()
        if request.POST.get("save"):
            email_words.change(email, language, words, at=at, by_id=by_id)
            messages.success(request, "Saved. It goes out with these words from now on.")
            return redirect("mail-text", email, language)
    subject, text, _ = preview_of(email, language, words)
    context = {
        "form": form,
        "what": EMAILS[email],
        "language": name_of(language),
        "code": language,
        "subject": subject,
        "text": text,
        "typed": form.is_bound and form.is_valid(),
        "own": (email, language) in email_words.changed(),
        "history": email_words.history(email, language),
        "zone": programme.current().zone,
    }
    status = 400 if form.is_bound and not form.is_valid() else 200
    return render(request, "clinic/mail_text.html", context, status=status)


def _mail(request: HttpRequest, form: HoldForm, *, status: int = 200) -> HttpResponse:
    asked = request.GET.get("show", "")
    show = Show(asked) if asked in list(Show) else Show.DECIDE
    settled = request.GET.get("settled") == "1"
    at = now()
    listed = read(show, request.GET.get("page"), settled=settled, at=at)
    rows = listed.came_back.answers + listed.came_back.automatic
    if seen := [one.pk for row in rows for one in row.people]:
        about(request, *dict.fromkeys(seen))
    role = member(request).role
    context = {
        "listed": listed,
        "settled": settled,
        "here": request.get_full_path(),
        "form": form,
        "zone": programme.current().zone,
        "on": programme.local_day(at),
        "may_care": role in CARERS,
        "may_keep": role in MAIL_KEEPERS,
        "may_decide": role in REGISTRARS,
    }
    return render(request, "clinic/mail.html", context, status=status)
