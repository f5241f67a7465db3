"""The addresses of patients' questions, of what is often asked, and of what is not translated."""

from django.urls import path

from clinic.views.often_asked import often_asked, often_asked_entry, often_asked_new
from clinic.views.questions import question, question_answer, questions
from clinic.views.untranslated import not_translated

urlpatterns = [
    path("questions/", questions, name="questions"),
    path("questions/<int:pk>/", question, name="question"),
    path("questions/<int:pk>/answer/", question_answer, name="question-answer"),
    path("modules/<slug:code>/often-asked/", often_asked, name="often-asked"),
    path("modules/<slug:code>/often-asked/new/", often_asked_new, name="often-asked-new"),
    path(
        "modules/<slug:code>/often-asked/<int:entry_id>/",
        often_asked_entry,
        name="often-asked-entry",
    ),
    path("not-translated/", not_translated, name="not-translated"),
]
