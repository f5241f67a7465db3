"""Does a module's quiz measure anything? The page, and the same figures as a file."""

from django.http import Http404, HttpRequest, HttpResponse, HttpResponseRedirect
from django.shortcuts import get_object_or_404, render
from django.urls import reverse
from django.views.decorators.http import require_safe

from clinic import quiz_csv, quiz_page
from clinic.forms.quiz_measured import QuizFilter
from clinic.roles import READERS
from education.models import Edition, Module
from education.quiz_measured import measured
from education.rules.does_it_measure import LEAST
from education.rules.module_parts import in_language
from patients import programme
from patients.clock import now
from patients.open_to import open_to


@open_to(*READERS)
@require_safe
def quiz_measured(request: HttpRequest, code: str) -> HttpResponse:
    """Show the figures of an edition's quiz; what narrows them stands in the address."""
    used = programme.current()
    module, editions = _module(code)
    form = QuizFilter(request.GET, editions=editions)
    asked = form.asked(used.zone)
    result = measured(asked)
    title = asked.edition.title
    return render(
        request,
        "clinic/quiz_measured.html",
        {
            "module": module,
            "edition": asked.edition,
            "title": in_language(title, asked.language),
            "form": form,
            "asked": asked,
            "result": result,
            "page": quiz_page.page(result, language=asked.language, tries=used.attempts_allowed),
            "tries": used.attempts_allowed,
            "least": LEAST,
            "at": now(),
            "zone": used.zone,
            "programme": used,
            "query": request.GET.urlencode(),
        },
        status=400 if form.errors else 200,
    )


@open_to(*READERS)
@require_safe
def quiz_measured_csv(request: HttpRequest, code: str) -> HttpResponse:
    """Return the same figures as a file; a filter that cannot be read leads back to the page."""
    _, editions = _module(code)
    form = QuizFilter(request.GET, editions=editions)
    asked = form.asked(programme.current().zone)
    if form.errors:
        query = {name: request.GET[name][:40] for name in form.fields if name in request.GET}
        return HttpResponseRedirect(reverse("quiz-measured", args=[code], query=query))
    content = quiz_csv.write(measured(asked), language=asked.language)
    response = HttpResponse(content, content_type="text/csv; charset=utf-8")
    name = f"quiz-{code}-edition-{asked.edition.number}.csv"
    response["Content-Disposition"] = f'attachment; filename="{name}"'
    return response


def _module(code: str) -> tuple[Module, list[Edition]]:
    module = get_object_or_404(Module, code=code)
    editions = list(module.editions.order_by("-number"))
    if not editions:
        raise Http404
    return module, editions
