"""What staff type about patients' questions: an answer, and an entry of “people often ask”."""

from collections.abc import Callable
from typing import Any

from django import forms

from clinic.question_words import sign_words
from education.rules import often_asked
from education.rules.asking import MAX_ANSWER, AskFault, Means, read_text
from education.rules.one_persons import Found
from patients.rules.languages import SOURCE_LANGUAGE, offered


class AnswerForm(forms.Form):
    """An answer in the patient's language, or what was said on the phone."""

    text = forms.CharField(
        label="Answer",
        required=False,
        widget=forms.Textarea(attrs={"rows": 8, "maxlength": MAX_ANSWER, "dir": "auto"}),
        help_text="The patient reads it behind a personal link: short sentences, plain words.",
    )
    seen = forms.IntegerField(widget=forms.HiddenInput, min_value=0, max_value=10_000)
    means = forms.ChoiceField(
        choices=[(one, one) for one in Means], required=True, widget=forms.HiddenInput
    )

    def clean_text(self) -> str:
        """Return the text as it may be kept."""
        typed = self.cleaned_data["text"]
        read = read_text(typed, most=MAX_ANSWER)
        if read == AskFault.TOO_LONG:
            raise forms.ValidationError(
                f"{len(typed)} characters; {MAX_ANSWER} is the most. Nothing was cut off."
            )
        if isinstance(read, AskFault):
            raise forms.ValidationError("Type the answer, what you said, or why none is needed.")
        return read


class OftenAskedForm(forms.Form):
    """An entry, in each language that it is written in; a language is left empty as a whole."""

    use_required_attribute = False
    general = forms.BooleanField(
        required=False,
        label="I read it: no words and no facts of one patient are in it, and it is right for all",
    )
    anyway = forms.BooleanField(
        required=False, label="It points to nobody all the same", widget=forms.HiddenInput
    )
    seen = forms.IntegerField(required=False, widget=forms.HiddenInput, min_value=0)

    def __init__(
        self, *args: Any, signs: Callable[[list[str]], tuple[Found, ...]], **kwargs: Any
    ) -> None:
        """`signs` says what in texts may point to whoever asked."""
        super().__init__(*args, **kwargs)
        self.signs = signs
        fields: dict[str, forms.Field] = {}
        for one in offered():
            fields[f"question_{one.code}"] = forms.CharField(
                required=False,
                max_length=often_asked.MAX_QUESTION,
                label=f"Question, {one.name}",
                widget=forms.TextInput(attrs={"lang": one.code, "dir": "auto"}),
            )
            fields[f"answer_{one.code}"] = forms.CharField(
                required=False,
                max_length=often_asked.MAX_ANSWER,
                label=f"Answer, {one.name}",
                widget=forms.Textarea(attrs={"rows": 5, "lang": one.code, "dir": "auto"}),
            )
        self.fields = {**fields, **self.fields}

    def clean(self) -> dict[str, Any]:
        """A language has both texts or none; somebody read them with one patient in mind."""
        cleaned = super().clean() or self.cleaned_data
        written = [one for one in offered() if any(self._texts(one.code))]
        if not written and not self.errors:
            self.add_error(f"question_{SOURCE_LANGUAGE}", "Write it in one language at least.")
        for one in written:
            for part, text in zip(("question", "answer"), self._texts(one.code), strict=True):
                name = f"{part}_{one.code}"
                if not text and name not in self.errors:
                    self.add_error(name, f"Give both in {one.name}, or leave both empty.")
        if not cleaned.get("general"):
            self.add_error("general", "Read it once more with this in mind, and tick it.")
        found = self.signs([text for one in written for text in self._texts(one.code)])
        if found and not cleaned.get("anyway"):
            self.fields["anyway"].widget = forms.CheckboxInput()
            said = "; ".join(sign_words(one) for one in found)
            self.add_error("anyway", f"This may point to one patient: {said}. Take it out.")
        return cleaned

    def words(self, part: str) -> dict[str, str]:
        """Return the "question" or the "answer" in the languages that it is written in."""
        texts = {one.code: self.cleaned_data[f"{part}_{one.code}"].strip() for one in offered()}
        return {code: text for code, text in texts.items() if text}

    def _texts(self, code: str) -> tuple[str, str]:
        question = self.cleaned_data.get(f"question_{code}", "").strip()
        return question, self.cleaned_data.get(f"answer_{code}", "").strip()
