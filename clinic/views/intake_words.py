"""What was said about the names of procedures in messages: a list, and taking one back."""

from dataclasses import dataclass
from datetime import datetime

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_POST, require_safe

from clinic.access import member
from clinic.forms.intake import ForgetForm
from clinic.models import StaffUser
from clinic.once import once
from clinic.roles import READERS, SCHEDULERS
from patients import programme
from patients.clock import now
from patients.models import Procedure, ScheduleReading
from patients.open_to import open_to
from patients.schedule_reading import say_of_sender, senders


@dataclass(frozen=True)
class Word:
    """One word of one sender, what it means, and who said something of this sender last."""

    sender: str
    word: str
    means: str
    reading: int
    by: StaffUser
    at: datetime


@open_to(*READERS)
@require_safe
def intake_words(request: HttpRequest) -> HttpResponse:
    """List what the names of procedures in messages were said to mean."""
    names = dict(Procedure.objects.values_list("id", "name"))
    words = [
        Word(
            sender=said.headings[1],
            word=word,
            means=names.get(meant, "") if meant else "not one of ours",
            reading=said.pk,
            by=said.by,
            at=said.recorded_at,
        )
        for said in senders()
        for word, meant in sorted(said.procedures.items())
    ]
    context = {
        "words": words,
        "settles": member(request).role in SCHEDULERS,
        "zone": programme.current().zone,
    }
    return render(request, "clinic/intake_words.html", context)


@open_to(*SCHEDULERS)
@require_POST
@once
def intake_word_forget(request: HttpRequest, reading_id: int) -> HttpResponse:
    """Take back what was said of a word; what was applied by it stays."""
    said = get_object_or_404(ScheduleReading, pk=reading_id)
    form = ForgetForm(request.POST)
    if form.is_valid() and len(said.headings) == 2 and not said.columns:
        word = form.cleaned_data["word"]
        say_of_sender(*said.headings, words={}, unsaid=[word], at=now(), by_id=member(request).pk)
        messages.success(request, f"“{word}” means nothing any more. Later messages will wait.")
    return redirect("intake-words")
