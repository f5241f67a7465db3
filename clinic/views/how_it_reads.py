"""How does a published module read, and is it clear? Long sentences and hard words in place."""

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.views.decorators.http import require_safe

from clinic.forms.clear_communication import BEFORE, QUESTIONS, IndexForm
from clinic.reading_words import in_words
from clinic.roles import READERS
from education.models import Edition, Module
from education.readability import edition_passages, read, together
from education.rules.clear_communication import Index, index
from patients import programme
from patients.clock import now
from patients.open_to import open_to
from patients.rules.languages import SOURCE_LANGUAGE, codes


@open_to(*READERS)
@require_safe
def how_it_reads(request: HttpRequest, code: str) -> HttpResponse:
    """Show an edition's texts in one language, with everything marked that makes them hard."""
    used = programme.current()
    edition, editions, language = _asked(request, code)
    passages = edition_passages(edition, language)
    goal = used.reading_grade
    texts = [in_words(read(p, goal=goal), name=p.name, key=p.key) for p in passages]
    whole = read(together("", passages, language), goal=goal)
    return render(
        request,
        "clinic/how_it_reads.html",
        {
            "module": edition.module,
            "edition": edition,
            "editions": editions,
            "title": edition.title.get(language, ""),
            "language": language,
            "languages": _languages(edition),
            "whole": in_words(whole),
            "texts": texts,
            "over": [text for text in texts if text.over],
            "goal": goal,
            "at": now(),
            "zone": used.zone,
            "programme": used,
        },
    )


@open_to(*READERS)
@require_safe
def clear_communication(request: HttpRequest, code: str) -> HttpResponse:
    """Ask the CDC's twenty questions of an edition and compute its index; nothing is kept."""
    edition, _, language = _asked(request, code)
    used = programme.current()
    form = IndexForm(request.GET if "item_1" in request.GET or "ask" in request.GET else None)
    found = index(form.answers()) if form.is_valid() else None
    return render(
        request,
        "clinic/clear_communication.html",
        {
            "module": edition.module,
            "edition": edition,
            "title": edition.title.get(language, ""),
            "language": language,
            "languages": _languages(edition),
            "form": form,
            "index": found,
            "missed": _missed(found),
            "before": BEFORE,
            "at": now(),
            "zone": used.zone,
            "programme": used,
        },
        status=400 if form.errors else 200,
    )


def _missed(found: Index | None) -> list[str]:
    return [f"{item}. {QUESTIONS[item]}" for item in found.missed] if found else []


def _asked(request: HttpRequest, code: str) -> tuple[Edition, list[Edition], str]:
    """The edition and the language in the address; the latest, and English, for anything else."""
    module = get_object_or_404(Module, code=code)
    editions = list(module.editions.select_related("module").order_by("-number"))
    if not editions:
        raise Http404
    wanted = request.GET.get("edition", "")
    edition = next((one for one in editions if str(one.number) == wanted), editions[0])
    language = request.GET.get("language", "")
    return edition, editions, language if language in edition.languages else SOURCE_LANGUAGE


def _languages(edition: Edition) -> list[str]:
    return [code for code in codes() if code in edition.languages]
