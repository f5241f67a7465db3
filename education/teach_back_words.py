"""What is asked in a teach-back: what the module's author wrote, or a sentence of the heading."""

from collections.abc import Collection

from django.utils import translation
from django.utils.translation import gettext as _

from education.models import Question
from education.rules.module_parts import in_language
from patients.rules.languages import SOURCE_LANGUAGE


def asked(question: Question, language: str) -> str:
    """Return the open question about a point, in a language."""
    written = question.teach_back.get(language, "")
    if written:
        return str(written)
    heading = in_language(question.section.heading, language)
    with translation.override(language):
        return _(
            "Tell me in your own words: what did you learn about “%(section)s”? "
            "What will you do at home?"
        ) % {"section": heading}


def asked_in_words(question: Question, languages: Collection[str]) -> dict[str, str]:
    """Return it in each of these languages that the question has; always in English."""
    return {
        language: asked(question, language)
        for language in sorted(languages)
        if language in question.stem or language == SOURCE_LANGUAGE
    }
