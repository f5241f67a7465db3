"""What is typed on the mail page: why mail is held, and the words of an email."""

from typing import Any

from django import forms

from education.email_words import Words
from education.emails import preview_of
from education.rules.may_be_mailed import Fault, Objection, Part, objections

SAID = {
    Fault.EMPTY: "This cannot be empty.",
    Fault.HEALTH_WORD: (
        "Others may see this on a screen: the subject and the first lines may not say “{words}”."
    ),
    Fault.ANOTHER_ADDRESS: "The email has its one link already; take out “{words}”.",
    Fault.MARKUP: "Plain words only; take out “{words}”.",
    Fault.SUBJECT_TOO_LONG: "The subject has to be one line of at most 78 characters.",
    Fault.TOO_MANY_WORDS: "The whole email would have {words} words; 120 is the most.",
    Fault.LONG_SENTENCE: "More than 20 words in one sentence: “{words}”",
}


class HoldForm(forms.Form):
    """Why all mail is held, or released."""

    reason = forms.CharField(max_length=500, label="Reason")


class WordsForm(forms.Form):
    """The words around the protected parts; checked as the email would go out."""

    subject = forms.CharField(max_length=120, required=False, label="Subject")
    before = forms.CharField(
        max_length=2000,
        required=False,
        label="Before the link",
        widget=forms.Textarea(attrs={"rows": 7}),
        help_text="A blank line begins a new paragraph.",
    )
    after = forms.CharField(
        max_length=2000,
        required=False,
        label="After the link",
        widget=forms.Textarea(attrs={"rows": 5}),
    )

    def __init__(self, *args: Any, name: str, language: str, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.name, self.language = name, language

    def words(self) -> Words:
        """Return what was typed."""
        typed = {part: self.cleaned_data.get(part, "") for part in ("subject", "before", "after")}
        return Words(**{part: text.replace("\r\n", "\n").strip() for part, text in typed.items()})

    def clean(self) -> dict[str, Any]:
        """Say everything that speaks against these words, beside its field."""
        cleaned = super().clean() or {}
        if self.errors:
            return cleaned
        words = self.words()
        _, whole, _ = preview_of(self.name, self.language, words)
        for one in objections(words.subject, words.before, words.after, whole=whole):
            self.add_error(Part(one.part), _said(one))
        return cleaned


def _said(objection: Objection) -> str:
    return SAID[objection.fault].format(words=objection.words)
