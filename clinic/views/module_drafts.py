"""A module while it is written: all of it, what is in the way, review, publish, archive."""

from typing import Any

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from clinic.access import member
from clinic.draft_forms import spread, words
from clinic.draft_page import CHANGE, DraftPage, draft_page, seen
from clinic.draft_pictures import too_heavy_in_words
from clinic.draft_words import plain
from clinic.forms.module_draft import HeadForm, KindForm, PublishForm, ReviewForm
from clinic.once import once
from clinic.roles import REGISTRARS, STAGE_KEEPERS
from education import drafting
from education.draft_parts import moved, new_key, with_version, without, without_version
from education.models import Clearance, DraftSave, Module
from education.rules.module_changes import WEIGHTY
from patients import programme
from patients.clock import now
from patients.open_to import open_to

WRITERS = STAGE_KEEPERS
REVIEWERS = REGISTRARS
OVERTAKEN = "Nothing was changed: somebody saved the draft after your page was shown. Look again."
HISTORY = 20  # earlier saves that can be taken back


@open_to(*WRITERS)
@require_http_methods(["GET", "HEAD", "POST"])
@once
def module_new(request: HttpRequest) -> HttpResponse:
    """Begin a module that there is not yet."""
    form = HeadForm(request.POST or None, initial={"pass_mark": 80})
    if request.method == "POST" and form.is_valid():
        title = form.cleaned_data["title_en"]
        if title:
            taken = set(Module.objects.values_list("code", flat=True))
            code = new_key(title, taken, "module")
            at, by_id = now(), member(request).pk
            draft = drafting.begin_draft(code, at=at, by_id=by_id, title=title)
            saved = drafting.latest(draft)
            content = _with_head(saved.content, form.cleaned_data)
            drafting.save(draft, content, seen=saved.number, at=at, by_id=by_id)
            return redirect("module-draft", code)
        form.tell("title_en", "Type a title.")
    status = 422 if request.method == "POST" else 200
    return render(request, "clinic/module_head.html", {"form": form}, status=status)


@open_to(*WRITERS)
@once
@require_POST
def module_draft_begin(request: HttpRequest, code: str) -> HttpResponse:
    """Begin the next edition with what the newest one says, or go on with it."""
    get_object_or_404(Module, code=code)
    drafting.begin_draft(code, at=now(), by_id=member(request).pk)
    return redirect("module-draft", code)


@open_to(*REVIEWERS)
@require_safe
def module_draft(request: HttpRequest, code: str) -> HttpResponse:
    """All parts of a draft, what is wrong with each, and what changed since the last edition."""
    return _overview(request, draft_page(code))


def _overview(
    request: HttpRequest,
    page: DraftPage,
    *,
    review: ReviewForm | None = None,
    publish: PublishForm | None = None,
) -> HttpResponse:
    role, by_id = member(request).role, member(request).pk
    changed = drafting.what_changed(page.content, page.edition) if page.ready.text else ()
    context: dict[str, Any] = {
        "page": page,
        "sections": [
            (part, page.problems_of("Section", part["key"])) for part in page.content["section"]
        ],
        "questions": [
            (part, page.problems_of("Question", part["key"])) for part in page.content["question"]
        ],
        "of_module": [plain(one.message) for one in page.problems_of("The module")],
        "changes": [(CHANGE[one.change], one) for one in changed],
        "heavy": too_heavy_in_words(page.content),
        "weighty": any(one.change in WEIGHTY for one in changed),
        "cleared": _cleared(code=page.draft.code),
        "may_write": role in WRITERS,
        "may_review": by_id not in drafting.writers(page.draft),
        "review_form": review or ReviewForm(),
        "publish_form": publish or PublishForm(),
        "kind_form": KindForm(),
        "history": page.draft.saves.select_related("by").order_by("-number")[1 : HISTORY + 1],
        "zone": programme.current().zone,
    }
    status = 422 if (review or publish) else 200
    return render(request, "clinic/module_draft.html", context, status=status)


@open_to(*WRITERS)
@require_http_methods(["GET", "HEAD", "POST"])
@once
def module_draft_head(request: HttpRequest, code: str) -> HttpResponse:
    """The title and the pass mark."""
    page = draft_page(code)
    content = page.content
    if request.method == "POST":
        form = HeadForm(request.POST)
        if form.is_valid():
            changed = _with_head(content, form.cleaned_data)
            return saved_or_overtaken(request, page, changed, form, "clinic/module_head.html")
        return render(request, "clinic/module_head.html", {"form": form, "page": page}, status=422)
    form = HeadForm({**spread(content, "title"), "pass_mark": content["pass_mark"]})
    form.is_valid()
    for problem in page.problems_of("The module"):
        form.tell(problem.field, plain(problem.message))
    return render(request, "clinic/module_head.html", {"form": form, "page": page})


def saved_or_overtaken(
    request: HttpRequest,
    page: DraftPage,
    content: dict[str, Any],
    form: Any,
    template: str,
    context: dict[str, Any] | None = None,
    to: str = "",
) -> HttpResponse:
    """Save and go back to the draft; or show what was typed with what somebody saved meanwhile."""
    try:
        drafting.save(page.draft, content, seen=seen(request), at=now(), by_id=member(request).pk)
    except (drafting.ChangedMeanwhile, drafting.NotReady):
        shown = {"form": form, "page": page, "overtaken": True, **(context or {})}
        return render(request, template, shown, status=409)
    messages.success(request, "Saved.")
    return redirect(to or "module-draft", *([] if to else [page.draft.code]))


@open_to(*WRITERS)
@once
@require_POST
def module_draft_arrange(request: HttpRequest, code: str) -> HttpResponse:
    """Move or take out a part, add or take out a version, or take back to an earlier save."""
    page = draft_page(code)
    content = _arranged(page, request.POST)
    if content is None:
        raise Http404
    try:
        drafting.save(page.draft, content, seen=seen(request), at=now(), by_id=member(request).pk)
        messages.success(request, "Saved. An earlier state can be taken back below.")
    except drafting.ChangedMeanwhile:
        messages.warning(request, OVERTAKEN)
    return redirect("module-draft", code)


def _arranged(page: DraftPage, sent: Any) -> dict[str, Any] | None:
    act, what, key = sent.get("act"), sent.get("what"), sent.get("key", "")
    number = sent.get("number", "")
    if act == "back" and number.isdecimal():
        earlier = DraftSave.objects.filter(draft=page.draft, number=int(number[:9])).first()
        return earlier.content if earlier else None
    if act == "add_version":
        return with_version(page.content, key)
    if act == "remove_version" and number.isdecimal():
        return without_version(page.content, key, int(number[:3]))
    if what not in ("section", "question"):
        return None
    if act in ("up", "down"):
        return moved(page.content, what, key, -1 if act == "up" else 1)
    return without(page.content, what, key) if act == "remove" else None


@open_to(*REVIEWERS)
@once
@require_POST
def module_draft_review(request: HttpRequest, code: str) -> HttpResponse:
    """What a second person says of the draft that the page showed."""
    page = draft_page(code)
    form = ReviewForm(request.POST)
    if not form.is_valid():
        return _overview(request, page, review=form)
    agrees = form.cleaned_data["agrees"] == "yes"
    try:
        if page.saved.number != seen(request):
            raise drafting.ChangedMeanwhile(page.saved)
        drafting.review(
            page.saved,
            agrees=agrees,
            note=form.cleaned_data["note"],
            at=now(),
            by_id=member(request).pk,
        )
        messages.success(request, "Your review is kept.")
    except drafting.ChangedMeanwhile:
        messages.warning(request, OVERTAKEN)
    except drafting.NotReady:
        messages.warning(request, "Nothing was kept: you wrote a part of this draft yourself.")
    return redirect("module-draft", code)


@open_to(*WRITERS)
@once
@require_POST
def module_draft_publish(request: HttpRequest, code: str) -> HttpResponse:
    """Publish the draft that the page showed."""
    page = draft_page(code)
    form = PublishForm(request.POST)
    if not form.is_valid():
        return _overview(request, page, publish=form)
    try:
        edition = drafting.publish_draft(
            page.draft,
            seen=seen(request),
            earlier_clearances_count=form.cleaned_data["earlier"] == "count",
            at=now(),
            by_id=member(request).pk,
        )
    except drafting.ChangedMeanwhile:
        messages.warning(request, OVERTAKEN)
        return redirect("module-draft", code)
    except drafting.NotReady:
        messages.warning(request, "Not published: something is still in the way.")
        return redirect("module-draft", code)
    request.trail_detail = {"edition": edition.number}  # type: ignore[attr-defined]
    messages.success(request, f"Edition {edition.number} is published. It never changes.")
    return redirect("module", code)


@open_to(*WRITERS)
@once
@require_POST
def module_draft_aside(request: HttpRequest, code: str) -> HttpResponse:
    """End a draft without publishing it."""
    page = draft_page(code)
    drafting.lay_aside(page.draft, at=now(), by_id=member(request).pk)
    messages.success(request, "The draft is laid aside. Patients see the edition that they saw.")
    return redirect("module", code) if page.edition else redirect("modules")


@open_to(*WRITERS)
@once
@require_POST
def module_archive(request: HttpRequest, code: str) -> HttpResponse:
    """Put a module into the archive, or take it out of it."""
    module = get_object_or_404(Module, code=code)
    archived = request.POST.get("archived") == "yes"
    try:
        drafting.archive(module, archived=archived, at=now(), by_id=member(request).pk)
    except drafting.StillRequired:
        named = ", ".join(drafting.required_by(module))
        messages.warning(request, f"Not archived: it is required for {named}. End that first.")
    else:
        done = "It is in the archive." if archived else "It is out of the archive."
        messages.success(request, f"{done} Nothing of it was deleted.")
    return redirect("module", code)


def _with_head(content: dict[str, Any], cleaned: dict[str, Any]) -> dict[str, Any]:
    title = {code: text for code, text in words(cleaned, "title").items() if text or code == "en"}
    return {**content, "title": title, "pass_mark": cleaned["pass_mark"]}


def _cleared(*, code: str) -> int:
    """How many patients have a clearance of the module that nobody revoked."""
    rows = Clearance.objects.filter(module__code=code, revocation__isnull=True)
    return rows.values("patient").distinct().count()
