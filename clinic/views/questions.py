"""Patients' questions: those that wait, and one of them with its context and its answers."""

from django.contrib import messages
from django.db import DatabaseError
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_POST, require_safe

from clinic import question_words, questions_page
from clinic.access import about, member
from clinic.forms.questions import AnswerForm
from clinic.once import once
from clinic.roles import CARERS, READERS, STAGE_KEEPERS
from education.addresses import is_blocked
from education.answer import AnswerRefusal, answer
from education.models import PatientQuestion
from education.rules.asking import Means
from patients import programme
from patients.clock import now
from patients.open_to import open_to

KEPT = {
    Means.EMAIL: "The answer is on its way to {name}.",
    Means.PHONE: "Kept as told by phone to {name}, and logged as a contact.",
    Means.NOT_NEEDED: "Kept: no answer is needed for {name}.",
}
REFUSED = {
    AnswerRefusal.NO_EMAIL: "There is no email address on file any more: call.",
    AnswerRefusal.COMES_BACK: "Emails to this address come back: call.",
    AnswerRefusal.ANSWERED_MEANWHILE: (
        "Somebody else answered after your page was shown. Read that answer first; yours is below "
        "and was not sent."
    ),
}


@open_to(*READERS)
@require_safe
def questions(request: HttpRequest) -> HttpResponse:
    """The questions that wait, the oldest first; ?show=answered those that were answered."""
    answered = request.GET.get("show") == "answered"
    try:
        found = questions_page.listed(answered=answered)
        zone = programme.current().zone
    except (DatabaseError, programme.NotFounded):
        return render(request, "clinic/could_not_load.html", status=503)
    context = {
        "listed": found,
        "answered": answered,
        "zone": zone,
        "may_care": member(request).role in CARERS,
    }
    return render(request, "clinic/questions.html", context)


@open_to(*READERS)
@require_safe
def question(request: HttpRequest, pk: int) -> HttpResponse:
    """One question: its context, the answers to it, and what else this patient asked."""
    asked = _asked(request, pk)
    form = AnswerForm(initial={"seen": asked.answers.count()})
    return _page(request, asked, form)


@open_to(*CARERS)
@once
@require_POST
def question_answer(request: HttpRequest, pk: int) -> HttpResponse:
    """Answer by email, note what was said on the phone, or that no answer is needed."""
    asked = _asked(request, pk)
    form = AnswerForm(request.POST)
    if not form.is_valid():
        return _page(request, asked, form, status=422)
    means = Means(form.cleaned_data["means"])
    given = answer(
        asked,
        means,
        form.cleaned_data["text"],
        seen=form.cleaned_data["seen"],
        at=now(),
        by_id=member(request).pk,
    )
    if isinstance(given, AnswerRefusal):
        form.add_error("text", REFUSED[given])
        return _page(request, asked, form, status=409)
    messages.success(request, KEPT[means].format(name=asked.patient.full_name))
    return redirect("question", pk) if means == Means.EMAIL else redirect("questions")


def _asked(request: HttpRequest, pk: int) -> PatientQuestion:
    rows = questions_page.with_answers(PatientQuestion.objects.all())
    asked = get_object_or_404(rows, pk=pk)
    about(request, asked.patient.pk)
    return asked


def _page(
    request: HttpRequest, asked: PatientQuestion, form: AnswerForm, *, status: int = 200
) -> HttpResponse:
    role = member(request).role
    row = questions_page.row(asked)
    if form.is_bound:
        # What somebody else said meanwhile is on the page now.
        form.data = {**request.POST.dict(), "seen": str(len(row.answers))}
    context = {
        "row": row,
        "asked": asked,
        "patient": asked.patient,
        "form": form,
        "language_note": question_words.language_note(asked),
        "earlier": questions_page.earlier(asked),
        "comes_back": is_blocked(asked.patient.email, unasked=False),
        "entries": asked.often_asked.count(),
        "zone": programme.current().zone,
        "may_care": role in CARERS,
        "may_write": role in STAGE_KEEPERS,
    }
    return render(request, "clinic/question.html", context, status=status)
