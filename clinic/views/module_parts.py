"""The parts of a draft, each on its page, and the draft as a patient will see it."""

from typing import Any

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.template.loader import render_to_string
from django.urls import reverse
from django.utils import translation
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from clinic.access import member
from clinic.draft_forms import (
    option_data,
    options_record,
    question_record,
    section_record,
    spread,
    version_record,
)
from clinic.draft_page import DraftPage, draft_page, how_it_reads, seen
from clinic.draft_pictures import pictures_shown, too_heavy_in_words
from clinic.draft_words import plain
from clinic.forms.module_draft import KindForm, OptionFormSet, QuestionForm, SectionForm
from clinic.once import once
from clinic.views.module_drafts import REVIEWERS, WRITERS, saved_or_overtaken
from education import drafting
from education.answer_form import answering
from education.draft_parts import (
    blank_question,
    entries_name,
    find,
    version_of,
    with_question,
    with_section,
)
from education.models import Edition
from education.rules.drawing import Draw
from education.shown import as_written, number_of_questions, sections, shown_question
from education.views.opening import phone_link
from patients import programme
from patients.clock import now
from patients.open_to import open_to
from patients.rules.languages import SOURCE_LANGUAGE, codes

SPARE_LINES = 2
NEW = "new"
PREVIEW_DRAW = Draw("preview", 0)  # options in an order as some patient will see them


@open_to(*WRITERS)
@require_http_methods(["GET", "HEAD", "POST"])
@once
def module_draft_section(request: HttpRequest, code: str, section_key: str) -> HttpResponse:
    """One section; the key "new" is one that there is not yet."""
    page = draft_page(code)
    part = find(page.content, "section", section_key)
    if part is None and section_key != NEW:
        raise Http404
    names = ("heading", "body", "ask_yourself")
    template = "clinic/module_section.html"
    context: dict[str, Any] = {
        "key": section_key,
        "pictures": pictures_shown(part) if part else [],
        "has_video": bool(part and part.get("video")),
        "heavy": too_heavy_in_words(page.content),
    }
    if request.method == "POST":
        form = SectionForm(request.POST)
        if form.is_valid():
            content, key = with_section(
                page.content, section_key, section_record(form.cleaned_data, part)
            )
            to = reverse("module-draft-section", args=[code, key])
            return saved_or_overtaken(request, page, content, form, template, context, to)
        shown = {"form": form, "page": page, **context}
        return render(request, template, shown, status=422)
    said = {**spread(part, *names), "sources": part.get("sources", "")} if part else None
    form = SectionForm(said)
    if part and form.is_valid():
        for problem in page.problems_of("Section", section_key):
            form.tell(problem.field, plain(problem.message))
    if part:
        context["reads"] = how_it_reads(part["heading"], part["body"], part.get("ask_yourself", {}))
    return render(request, template, {"form": form, "page": page, **context})


@open_to(*WRITERS)
@once
@require_POST
def module_draft_question_new(request: HttpRequest, code: str) -> HttpResponse:
    """Add a question of a kind, and go to its page."""
    page = draft_page(code)
    form = KindForm(request.POST)
    if not form.is_valid():
        return redirect("module-draft", code)
    first = page.content["section"][0]["key"] if page.content["section"] else ""
    blank = blank_question(form.cleaned_data["kind"], first)
    content, key = with_question(page.content, NEW, blank)
    try:
        drafting.save(page.draft, content, seen=seen(request), at=now(), by_id=member(request).pk)
    except drafting.ChangedMeanwhile:
        return redirect("module-draft", code)
    return redirect("module-draft-question", code, key, 1)


@open_to(*WRITERS)
@require_http_methods(["GET", "HEAD", "POST"])
@once
def module_draft_question(
    request: HttpRequest, code: str, question_key: str, version: int
) -> HttpResponse:
    """One version of one question, with its answers."""
    page = draft_page(code)
    question = find(page.content, "question", question_key)
    part = version_of(question, version) if question else None
    if question is None or part is None:
        raise Http404
    kind = question["kind"]
    listed = [(one["key"], one["heading"].get("en", "")) for one in page.content["section"]]
    options = {"kind": kind, "version": version, "sections": listed}
    template = "clinic/module_question.html"
    context = {"key": question_key, "version": version, "kind": kind, "question": question}
    if request.method == "POST":
        form = QuestionForm(request.POST, **options)
        rows = OptionFormSet(request.POST, prefix="option", form_kwargs={"kind": kind})
        context["rows"] = rows
        if form.is_valid() and (kind == "number" or rows.is_valid()):
            lines = [] if kind == "number" else options_record(kind, list(rows.forms))
            changed = question_with(question, version, form.cleaned_data, lines)
            content, _key = with_question(page.content, question_key, changed)
            to = reverse("module-draft-question", args=[code, question_key, version])
            return saved_or_overtaken(request, page, content, form, template, context, to)
        return render(request, template, {"form": form, "page": page, **context}, status=422)
    form = QuestionForm(_data(question, part), **options)
    rows = _rows(kind, part)
    if form.is_valid() and rows.is_valid():
        _tell(page, question_key, version, form, rows)
    lines = part.get(entries_name(kind), [])
    context["reads"] = how_it_reads(
        part["stem"],
        *(line["text"] for line in lines),
        part.get("explanation", {}),
        part.get("teach_back", {}),
    )
    return render(request, template, {"form": form, "page": page, "rows": rows, **context})


def question_with(
    question: dict[str, Any], version: int, cleaned: dict[str, Any], lines: list[dict[str, Any]]
) -> dict[str, Any]:
    """Return a question with one version as it was typed."""
    if version == 1:
        return question_record(question["kind"], question, cleaned, lines)
    versions = list(question["version"])
    versions[version - 2] = version_record(question["kind"], cleaned, lines)
    return {**question, "version": versions}


def _data(question: dict[str, Any], part: dict[str, Any]) -> dict[str, Any]:
    own = {name: part.get(name, "") for name in ("answer", "tolerance", "shuffle", "section")}
    return {
        **spread(part, "stem", "explanation", "teach_back", "unit"),
        **own,
        "safety_critical": question["safety_critical"],
    }


def _rows(kind: str, part: dict[str, Any]) -> Any:
    """The lines as a bound form set, so that what is wrong with them can be shown at them."""
    lines = option_data(kind, part.get(entries_name(kind), []), SPARE_LINES)
    data: dict[str, Any] = {"option-TOTAL_FORMS": len(lines), "option-INITIAL_FORMS": 0}
    for number, line in enumerate(lines):
        given = {name: value for name, value in line.items() if value not in (None, False)}
        data |= {f"option-{number}-{name}": value for name, value in given.items()}
    return OptionFormSet(data, prefix="option", form_kwargs={"kind": kind})


def _tell(page: DraftPage, key: str, version: int, form: QuestionForm, rows: Any) -> None:
    """Show each problem of this version at its field."""
    prefix = f"v{version}-" if version > 1 else ""
    named = f'Question "{key}", version '
    for problem in page.problems_of("Question", key):
        of_version = problem.where.startswith(named)
        if of_version != (version > 1) or (
            of_version and not problem.where.startswith(f"{named}{version}")
        ):
            continue
        what, _, rest = problem.field.removeprefix(prefix).partition("-")
        number, _, field = rest.partition("-")
        if what in ("option", "item", "pair") and number.isdecimal():
            rows.forms[int(number) - 1].tell(field, plain(problem.message))
        else:
            form.tell(problem.field.removeprefix(prefix), plain(problem.message))


@open_to(*REVIEWERS)
@require_safe
def module_draft_preview(request: HttpRequest, code: str) -> HttpResponse:
    """The draft as a patient will see it: the lesson, or one question of it."""
    page = draft_page(code)
    text = page.ready.text
    if text is None:
        return render(request, "clinic/module_no_preview.html", {"page": page}, status=409)
    asked = request.GET.get("language", "")
    language = asked if asked in codes() and asked in text.title else SOURCE_LANGUAGE
    place = request.GET.get("question", "")
    context: dict[str, Any] = {
        "page": page,
        "language": language,
        "programme": (told := programme.current()),
        "phone_link": phone_link(told.phone),
        "emergency_link": phone_link(told.emergency_number),
        "in_preview": [code for code in codes() if code in text.title],
    }

    def shown(edition: Edition) -> str:
        listed = as_written(edition, language)
        number = int(place[:4]) if place.isdecimal() else 0
        question = None
        if 1 <= number <= len(listed):
            one = listed[number - 1]
            question = shown_question(
                one.record, language, number=one.number, total=one.total, draw=PREVIEW_DRAW
            )
        context.update(
            title=edition.title[language],
            sections=sections(edition, language),
            number_of_questions=number_of_questions(edition),
            question=question,
            fields=answering(question, None) if question else None,
            here=number if question else 0,
            before=number - 1,
            after=number + 1 if number < len(listed) else 0,
        )
        with translation.override(language):
            return render_to_string("clinic/module_preview.html", context)

    return HttpResponse(drafting.as_if_published(text, shown, at=now()))
