"""The addresses where a module is written."""

from django.urls import path

from clinic.views import draft_looks, module_drafts, module_files, module_parts
from education.views.teaching_file import teaching_file

urlpatterns = [
    # What patients and staff are shown of a module: the same bytes for everybody.
    path("files/<str:name>", teaching_file, name="teaching-file"),
    path("new-module/", module_drafts.module_new, name="module-new"),
    path("modules/<slug:code>/archive/", module_drafts.module_archive, name="module-archive"),
    path("modules/<slug:code>/draft/", module_drafts.module_draft, name="module-draft"),
    path(
        "modules/<slug:code>/draft/begin/",
        module_drafts.module_draft_begin,
        name="module-draft-begin",
    ),
    path(
        "modules/<slug:code>/draft/title/",
        module_drafts.module_draft_head,
        name="module-draft-head",
    ),
    path(
        "modules/<slug:code>/draft/section/<slug:section_key>/",
        module_parts.module_draft_section,
        name="module-draft-section",
    ),
    path(
        "modules/<slug:code>/draft/section/<slug:section_key>/picture/<slug:picture_key>/",
        module_files.module_draft_picture,
        name="module-draft-picture",
    ),
    path(
        "modules/<slug:code>/draft/section/<slug:section_key>/video/",
        module_files.module_draft_video,
        name="module-draft-video",
    ),
    path(
        "modules/<slug:code>/draft/section/<slug:section_key>/look/",
        draft_looks.module_draft_section_look,
        name="module-draft-section-look",
    ),
    path(
        "modules/<slug:code>/draft/question/<slug:question_key>/<int:version>/look/",
        draft_looks.module_draft_question_look,
        name="module-draft-question-look",
    ),
    path(
        "modules/<slug:code>/draft/question/",
        module_parts.module_draft_question_new,
        name="module-draft-question-new",
    ),
    path(
        "modules/<slug:code>/draft/question/<slug:question_key>/<int:version>/",
        module_parts.module_draft_question,
        name="module-draft-question",
    ),
    path(
        "modules/<slug:code>/draft/arrange/",
        module_drafts.module_draft_arrange,
        name="module-draft-arrange",
    ),
    path(
        "modules/<slug:code>/draft/preview/",
        module_parts.module_draft_preview,
        name="module-draft-preview",
    ),
    path(
        "modules/<slug:code>/draft/review/",
        module_drafts.module_draft_review,
        name="module-draft-review",
    ),
    path(
        "modules/<slug:code>/draft/publish/",
        module_drafts.module_draft_publish,
        name="module-draft-publish",
    ),
    path(
        "modules/<slug:code>/draft/lay-aside/",
        module_drafts.module_draft_aside,
        name="module-draft-aside",
    ),
]
