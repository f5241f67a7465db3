"""“People often ask”: the entries of a module, beside its editions."""

from functools import partial

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_http_methods, require_safe

from clinic.access import about, member
from clinic.forms.questions import OftenAskedForm
from clinic.once import once
from clinic.roles import READERS, STAGE_KEEPERS
from education import often_asked as acts
from education.models import Module, OftenAsked, PatientQuestion
from education.rules.often_asked import spans
from education.rules.one_persons import Found, Person, signs
from education.titles import titles
from patients import programme
from patients.clock import now
from patients.open_to import open_to
from patients.rules.languages import choices

WRITERS = STAGE_KEEPERS
OVERTAKEN = "Nothing was saved: somebody changed this entry after your page was shown. Look again."


@open_to(*READERS)
@require_safe
def often_asked(request: HttpRequest, code: str) -> HttpResponse:
    """Every entry of a module: what it says, from when until when it said what."""
    module = get_object_or_404(Module, code=code)
    entries = [
        (entry, list(entry.words.all()), spans(acts.rows(entry.words.all())))
        for entry in OftenAsked.objects.filter(module=module).prefetch_related("words")
    ]
    context = {
        "module": module,
        "title": titles([module.pk]).get(module.pk, code),
        "shown": [(entry, words[-1], times) for entry, words, times in entries if words[-1].shown],
        "archived": [
            (entry, words[-1], times) for entry, words, times in entries if not words[-1].shown
        ],
        "languages": choices(),
        "may_write": member(request).role in WRITERS,
        "zone": programme.current().zone,
    }
    return render(request, "clinic/often_asked.html", context)


@open_to(*WRITERS)
@require_http_methods(["GET", "HEAD", "POST"])
@once
def often_asked_new(request: HttpRequest, code: str) -> HttpResponse:
    """Write an entry; with ?from=, made of a patient's question, whose words stand beside it."""
    module = get_object_or_404(Module, code=code)
    question = _came_from(request, module)
    form = OftenAskedForm(request.POST or None, signs=partial(_signs, question))
    if request.method == "POST" and form.is_valid():
        acts.write(
            module,
            form.words("question"),
            form.words("answer"),
            came_from=question,
            at=now(),
            by_id=member(request).pk,
        )
        messages.success(request, "Patients see it on the module’s page from now on.")
        return redirect("often-asked", code)
    return _form(request, module, form, question, None)


@open_to(*WRITERS)
@require_http_methods(["GET", "HEAD", "POST"])
@once
def often_asked_entry(request: HttpRequest, code: str, entry_id: int) -> HttpResponse:
    """Change an entry, archive it, or show it again. What it said before is kept."""
    module = get_object_or_404(Module, code=code)
    rows = OftenAsked.objects.select_related("came_from__edition")
    entry = get_object_or_404(rows, pk=entry_id, module=module)
    if entry.came_from:
        about(request, entry.came_from.patient.pk)
    words = acts.words_of(entry)
    initial = {f"question_{c}": text for c, text in words.question.items()}
    initial |= {f"answer_{c}": text for c, text in words.answer.items()}
    form = OftenAskedForm(
        request.POST or None,
        initial={**initial, "seen": words.number},
        signs=partial(_signs, entry.came_from),
    )
    if request.method == "POST":
        sent = request.POST.get("seen", "")
        seen = int(sent) if sent.isdecimal() and len(sent) < 9 else 0
        moving = request.POST.get("archive") or request.POST.get("show")
        if moving or form.is_valid():
            question = words.question if moving else form.words("question")
            said = words.answer if moving else form.words("answer")
            shown = words.shown if not moving else bool(request.POST.get("show"))
            try:
                acts.change(
                    entry,
                    question,
                    said,
                    shown=shown,
                    seen=seen,
                    at=now(),
                    by_id=member(request).pk,
                )
            except acts.ChangedMeanwhile:
                messages.warning(request, OVERTAKEN)
                return redirect("often-asked-entry", code, entry_id)
            messages.success(request, _said(moving=bool(moving), shown=shown))
            return redirect("often-asked", code)
    return _form(request, module, form, entry.came_from, entry)


def _said(*, moving: bool, shown: bool) -> str:
    if not moving:
        return "Saved. What it said before is kept."
    return "Patients see it again." if shown else "Archived: patients do not see it any more."


def _came_from(request: HttpRequest, module: Module) -> PatientQuestion | None:
    asked = request.POST.get("from") or request.GET.get("from", "")
    if not (asked.isdecimal() and len(asked) < 12):
        return None
    rows = PatientQuestion.objects.filter(edition__module=module)
    question = get_object_or_404(rows, pk=int(asked))
    about(request, question.patient.pk)
    return question


def _signs(question: PatientQuestion | None, texts: list[str]) -> tuple[Found, ...]:
    if question is None:
        return signs(texts, asked="", person=None)
    one = question.patient
    person = Person((one.given_names, one.family_names), one.mrn, one.phone, one.birth_date)
    return signs(texts, asked=question.text, person=person)


def _form(
    request: HttpRequest,
    module: Module,
    form: OftenAskedForm,
    question: PatientQuestion | None,
    entry: OftenAsked | None,
) -> HttpResponse:
    answers = question.answers.all() if question else ()
    context = {
        "module": module,
        "title": titles([module.pk]).get(module.pk, module.code),
        "form": form,
        "question": question,
        "answers": answers,
        "entry": entry,
        "words": acts.words_of(entry) if entry else None,
    }
    status = 422 if form.is_bound else 200
    return render(request, "clinic/often_asked_entry.html", context, status=status)
