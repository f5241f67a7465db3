"""The pictures and the video of a section, each on its page."""

from typing import Any

from django.conf import settings
from django.core import signing
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.views.decorators.http import require_http_methods

from clinic.access import member
from clinic.draft_forms import spread, words
from clinic.draft_page import DraftPage, draft_page, how_it_reads
from clinic.draft_words import plain
from clinic.file_words import NO_PICTURE, PICTURE, VIDEO, too_large
from clinic.forms.module_files import PictureForm, VideoForm
from clinic.once import once
from clinic.uploads import takes_upload, upload_refused
from clinic.views.module_drafts import WRITERS, saved_or_overtaken
from education.draft_files import picture_of, with_picture, with_video, without_picture
from education.draft_parts import find
from education.picture_intake import MOST_BYTES, NotTaken, PictureRefused
from education.rules.captions import BadCaptions
from education.rules.video_file import NotAVideo
from education.shown_files import kept_files, shown_pictures, shown_video
from education.teaching_files import (
    VideoRefused,
    keep_again,
    keep_captions,
    keep_picture,
    keep_video,
    words_of_captions,
)
from patients.clock import now
from patients.open_to import open_to
from patients.rules.languages import SOURCE_LANGUAGE, codes

NEW = "new"
_SALT = "clinic.views.module_files"
Record = dict[str, Any]


@open_to(*WRITERS)
@takes_upload(MOST_BYTES)
@require_http_methods(["GET", "HEAD", "POST"])
@once
def module_draft_picture(
    request: HttpRequest, code: str, section_key: str, picture_key: str
) -> HttpResponse:
    """One picture of a section; the key "new" is one that there is not yet."""
    page, section = _section(code, section_key)
    picture = picture_of(section, picture_key)
    if picture is None and picture_key != NEW:
        raise Http404
    template, back = "clinic/module_picture.html", _back(page, section_key)
    context: Record = {"section": section, "picture": picture, "back": back}
    context["shown"] = _thumbnail(picture)
    if request.method != "POST":
        form = PictureForm(_picture_data(picture) if picture else None)
        if picture and form.is_valid():
            _tell(page, form, section_key, f"picture-{picture_key}-")
        return render(request, template, {"form": form, "page": page, **context})
    form = PictureForm(request.POST, request.FILES)
    if request.POST.get("act") == "remove":
        content = without_picture(page.content, section_key, picture_key)
        return saved_or_overtaken(request, page, content, form, template, context, back)
    if form.is_valid():
        name = _taken_picture(request, form) or (picture or {}).get("file", "")
        if not name and not form.errors:
            form.add_error("file", NO_PICTURE)
        if not form.errors:
            said = _picture_record(name, form.cleaned_data)
            content = with_picture(page.content, section_key, picture_key, said)
            return saved_or_overtaken(request, page, content, form, template, context, back)
    return render(request, template, {"form": form, "page": page, **context}, status=422)


@open_to(*WRITERS)
@takes_upload("LARGEST_VIDEO")
@require_http_methods(["GET", "HEAD", "POST"])
@once
def module_draft_video(request: HttpRequest, code: str, section_key: str) -> HttpResponse:
    """The video of a section, with its captions and its transcript."""
    page, section = _section(code, section_key)
    video: Record = section.get("video") or {}
    template, back = "clinic/module_video.html", _back(page, section_key)
    context: Record = {"section": section, "video": video, "back": back}
    context["shown"] = shown_video(video, kept_files([((), video)]), SOURCE_LANGUAGE)
    context["most"] = settings.LARGEST_VIDEO // 1024 // 1024
    if request.method != "POST":
        form = VideoForm(spread(video, "transcript") if video else None)
        if video and form.is_valid():
            _tell(page, form, section_key, "video-")
            context["reads"] = how_it_reads(video["transcript"])
        return render(request, template, {"form": form, "page": page, **context})
    form = VideoForm(request.POST, request.FILES)
    if request.POST.get("act") == "remove":
        content = with_video(page.content, section_key, {})
        return saved_or_overtaken(request, page, content, form, template, context, back)
    if form.is_valid():
        name = _taken_video(request, form)
        said = _video_record(request, form, video, name)
        if not form.errors:
            content = with_video(page.content, section_key, said)
            to = reverse("module-draft-video", args=[code, section_key])
            return saved_or_overtaken(request, page, content, form, template, context, to)
        # A video that came whole is not asked for again because its captions were wrong.
        context["kept"] = signing.dumps(name, salt=_SALT) if name else ""
    return render(request, template, {"form": form, "page": page, **context}, status=422)


def _section(code: str, section_key: str) -> tuple[DraftPage, Record]:
    page = draft_page(code)
    section = find(page.content, "section", section_key)
    if section is None:
        raise Http404
    return page, section


def _back(page: DraftPage, section_key: str) -> str:
    return reverse("module-draft-section", args=[page.draft.code, section_key])


def _tell(page: DraftPage, form: PictureForm | VideoForm, section_key: str, prefix: str) -> None:
    for problem in page.problems_of("Section", section_key):
        if problem.field.startswith(prefix):
            form.tell(problem.field.removeprefix(prefix), plain(problem.message))


# --- pictures ------------------------------------------------------------------------------------


def _thumbnail(picture: Record | None) -> Any:
    pictures = [picture] if picture else []
    return next(iter(shown_pictures(pictures, kept_files([(pictures, {})]), SOURCE_LANGUAGE)), None)


def _picture_data(picture: Record) -> Record:
    return {**spread(picture, "alt"), "decoration": picture.get("decoration", False)}


def _picture_record(name: str, cleaned: Record) -> Record:
    if cleaned["decoration"]:
        return {"file": name, "decoration": True}
    return {"file": name, "alt": words(cleaned, "alt")}


def _taken_picture(request: HttpRequest, form: PictureForm) -> str:
    """Return the name under which the picture is kept; "" with what is wrong said at its field."""
    upload = form.cleaned_data["file"]
    try:
        if upload_refused(request) or (upload and upload.size > MOST_BYTES):
            raise PictureRefused(NotTaken.TOO_MANY_BYTES)
        if not upload:
            return ""
        return keep_picture(upload.read(), at=now(), by_id=member(request).pk).name
    except PictureRefused as refused:
        form.add_error("file", PICTURE[refused.why])
        return ""


# --- videos --------------------------------------------------------------------------------------


def _taken_video(request: HttpRequest, form: VideoForm) -> str:
    """Return the name under which the video is kept; "" with what is wrong said at its field."""
    upload, at, by_id = form.cleaned_data["file"], now(), member(request).pk
    try:
        if upload_refused(request) or (upload and upload.size > settings.LARGEST_VIDEO):
            form.add_error("file", too_large(settings.LARGEST_VIDEO))
        elif upload:
            return keep_video(upload, upload.size, at=at, by_id=by_id).name
        elif request.POST.get("kept"):
            name = str(signing.loads(request.POST["kept"], salt=_SALT))
            return keep_again(name, at=at, by_id=by_id)
    except VideoRefused as refused:
        form.add_error("file", VIDEO[refused.why])
    except signing.BadSignature:
        form.add_error("file", VIDEO[NotAVideo.NO_VIDEO])
    return ""


def _video_record(request: HttpRequest, form: VideoForm, before: Record, name: str) -> Record:
    captions = {code: before.get("captions", {}).get(code, "") for code in codes()}
    transcript = words(form.cleaned_data, "transcript")
    for code in codes():
        upload = form.cleaned_data.get(f"captions_{code}")
        if not upload:
            continue
        try:
            kept = keep_captions(upload.read(), at=now(), by_id=member(request).pk)
        except BadCaptions as bad:
            form.add_error(f"captions_{code}", f"{bad} Nothing of the file was taken.")
            continue
        captions[code] = kept.name
        transcript[code] = transcript[code] or words_of_captions(kept.name)
    return {
        "file": name or before.get("file", ""),
        "captions": captions,
        "transcript": transcript,
    }
