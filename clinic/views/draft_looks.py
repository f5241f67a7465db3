"""What is being typed, as a patient will see it on a phone, and how it reads. Nothing is kept.

The button of a form opens it in a window of its own; a script asks again while somebody types.
"""

from typing import Any

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.template.loader import render_to_string
from django.utils import translation
from django.views.decorators.http import require_POST

from clinic.draft_forms import options_record, section_record
from clinic.draft_page import DraftPage, draft_page, how_it_reads
from clinic.forms.module_draft import OptionFormSet, QuestionForm, SectionForm
from clinic.views.module_drafts import WRITERS
from clinic.views.module_parts import NEW, question_with
from education.answer_form import answering
from education.draft_look import question_look, section_look
from education.draft_parts import entries_name, find, version_of
from education.shown import ShownQuestion
from education.views.opening import phone_link
from patients import programme
from patients.clock import now
from patients.open_to import open_to
from patients.rules.languages import SOURCE_LANGUAGE, codes, direction_of

Record = dict[str, Any]


@open_to(*WRITERS)
@require_POST
def module_draft_section_look(request: HttpRequest, code: str, section_key: str) -> HttpResponse:
    """A section as it is typed."""
    page = draft_page(code)
    part = find(page.content, "section", section_key)
    if part is None and section_key != NEW:
        raise Http404
    form = SectionForm(request.POST)
    if not form.is_valid():
        return _too_long(request, form)
    section = section_record(form.cleaned_data, part)
    if request.POST.get("show") == "reads":
        texts = (section["heading"], section["body"], section.get("ask_yourself", {}))
        return _reads(request, *texts)
    language = _language(request)
    shown = {"section": section_look(section, language)}
    return _looked_at(request, _page(request, page, language, shown))


@open_to(*WRITERS)
@require_POST
def module_draft_question_look(
    request: HttpRequest, code: str, question_key: str, version: int
) -> HttpResponse:
    """One version of a question as it is typed."""
    page = draft_page(code)
    question = find(page.content, "question", question_key)
    if question is None or version_of(question, version) is None:
        raise Http404
    kind = question["kind"]
    listed = [(one["key"], one["heading"].get("en", "")) for one in page.content["section"]]
    form = QuestionForm(request.POST, kind=kind, version=version, sections=listed)
    rows = OptionFormSet(request.POST, prefix="option", form_kwargs={"kind": kind})
    if not form.is_valid() or (kind != "number" and not rows.is_valid()):
        return _too_long(request, form)
    lines = [] if kind == "number" else options_record(kind, list(rows.forms))
    whole = question_with(question, version, form.cleaned_data, lines)
    typed = version_of(whole, version) or whole
    said = {"kind": kind, "explanation": question["explanation"], **typed}
    if request.POST.get("show") == "reads":
        options = [line["text"] for line in said.get(entries_name(kind), [])]
        return _reads(request, said["stem"], *options, said["explanation"])
    language = _language(request)

    def look(shown: ShownQuestion) -> str:
        asked = {"question": shown, "fields": answering(shown, None)}
        return _page(request, page, language, asked)

    return _looked_at(request, question_look(said, language, look, at=now()))


def _page(request: HttpRequest, page: DraftPage, language: str, shown: Record) -> str:
    told = programme.current()
    context = {
        "page": page,
        "framed": "framed" in request.POST,
        "language": language,
        "direction": direction_of(language),
        "programme": told,
        "phone_link": phone_link(told.phone),
        "emergency_link": phone_link(told.emergency_number),
        **shown,
    }
    with translation.override(language):
        return render_to_string("clinic/module_look.html", context)


def _looked_at(request: HttpRequest, page: str) -> HttpResponse:
    request.changes_nothing = True  # type: ignore[attr-defined]  # read by clinic.access
    return HttpResponse(page)


def _reads(request: HttpRequest, *texts: Record) -> HttpResponse:
    request.changes_nothing = True  # type: ignore[attr-defined]
    return render(request, "clinic/_draft_reads.html", {"reads": how_it_reads(*texts)})


def _too_long(request: HttpRequest, form: Any) -> HttpResponse:
    request.changes_nothing = True  # type: ignore[attr-defined]
    return render(request, "clinic/module_look_not.html", {"form": form}, status=422)


def _language(request: HttpRequest) -> str:
    asked = request.POST.get("language", "")
    return asked if asked in codes() else SOURCE_LANGUAGE
