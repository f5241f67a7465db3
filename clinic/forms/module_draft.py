"""What is typed on the pages where a module is written.

Everything may be left empty: an unfinished draft is kept, and what is missing is said beside its
field by whoever reads the draft (education/rules/module_text.py). Here only sizes are held.
"""

import copy
from typing import Any

from django import forms
from django.forms import BaseFormSet, formset_factory

from education.pasted import clean
from education.rules.question_problems import MOST_OPTIONS
from education.rules.scoring import CHOICES, Kind
from patients.rules.languages import added

LONGEST_LINE = 300  # characters
LONGEST_TEXT = 20_000
LONGEST_NOTE = 1_000


class CleanField(forms.CharField):
    """A text whose pasted markup, unseen characters and bullets are made plain."""

    def to_python(self, value: Any) -> str:
        """Return the text clean. What is too long is refused before it is worked on."""
        text = str(value or "")
        return clean(text) if len(text) <= LONGEST_TEXT * 2 else text


class DraftForm(forms.Form):
    """A form over a part of a draft; `problems` are shown at their fields once it is valid."""

    use_required_attribute = False

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        """Each text has a field for every language that patients are offered."""
        super().__init__(*args, **kwargs)
        ordered: dict[str, forms.Field] = {}
        for name, field in self.fields.items():
            ordered[name] = field
            if name.endswith("_es"):
                ordered |= {
                    f"{name.removesuffix('es')}{one.code}": _like(field, one.name)
                    for one in added()
                }
        self.fields = ordered

    def leave_out(self, unused: set[str]) -> None:
        """Take fields out; a text's in every language, if its Spanish one is among them."""
        for name in unused:
            del self.fields[name]
            if name.endswith("_es"):
                for one in added():
                    del self.fields[f"{name.removesuffix('es')}{one.code}"]

    def tell(self, field: str, message: str) -> None:
        """Show a problem beside its field, or above all fields if it has none here."""
        name = field.replace("-", "_")
        self.add_error(
            next((one for one in self.fields if one.replace("-", "_") == name), None), message
        )


def _like(field: forms.Field, language: str) -> forms.Field:
    """Return the field of a further language, made after the Spanish one."""
    copied = copy.deepcopy(field)
    copied.label = str(field.label).replace("Spanish", language)
    return copied


def _line(label: str, **options: Any) -> CleanField:
    return CleanField(label=label, required=False, max_length=LONGEST_LINE, **options)


def _text(label: str, rows: int, longest: int = LONGEST_TEXT, **options: Any) -> CleanField:
    area = forms.Textarea(attrs={"rows": rows})
    return CleanField(label=label, required=False, max_length=longest, widget=area, **options)


class HeadForm(DraftForm):
    """The title and the pass mark."""

    title_en = _line("Title, English")
    title_es = _line("Title, Spanish", help_text="Leave it empty to publish in English alone.")
    pass_mark = forms.IntegerField(
        label="Pass mark, in per cent of the questions",
        required=False,
        min_value=0,
        max_value=1000,
        help_text="Every safety-critical question has to be right besides.",
    )


class SectionForm(DraftForm):
    """One section of the teaching."""

    heading_en = _line("Heading, English")
    heading_es = _line("Heading, Spanish")
    body_en = _text(
        "Text, English", 12, help_text="Markdown: **bold**, - a list, [a link](https://...)."
    )
    body_es = _text("Text, Spanish", 12)
    ask_yourself_en = _text("Ask yourself, English", 3, LONGEST_NOTE, help_text="May be left out.")
    ask_yourself_es = _text("Ask yourself, Spanish", 3, LONGEST_NOTE)
    sources = _text("Sources", 3, 5_000, help_text="For staff only: no patient reads them.")


class KindForm(forms.Form):
    """Which kind of question to add."""

    kind = forms.ChoiceField(
        choices=[
            (Kind.ONE, "One of several answers"),
            (Kind.SEVERAL, "Several of several answers"),
            (Kind.TRUE_FALSE, "True or false"),
            (Kind.NUMBER, "A number with its unit"),
            (Kind.ORDER, "Put in order"),
            (Kind.MATCH, "Match pairs"),
        ],
        widget=forms.RadioSelect,
        label="Add a question",
    )


class QuestionForm(DraftForm):
    """What every kind has. Of a further version the kind and the mark are the question's."""

    stem_en = _text("Question, English", 2, LONGEST_NOTE)
    stem_es = _text("Question, Spanish", 2, LONGEST_NOTE)
    explanation_en = _text("Why, English", 2, LONGEST_NOTE, help_text="Shown with the result.")
    explanation_es = _text("Why, Spanish", 2, LONGEST_NOTE)
    teach_back_en = _text(
        "Teach-back, English",
        2,
        LONGEST_NOTE,
        help_text=(
            "What staff ask on the phone: a question to be answered in one’s own words. Left out, "
            "it is made of the section’s heading."
        ),
    )
    teach_back_es = _text("Teach-back, Spanish", 2, LONGEST_NOTE)
    section = forms.ChoiceField(label="Explained in the section", required=False)
    safety_critical = forms.BooleanField(
        label="Safety-critical: must be right to pass; missed twice, somebody calls",
        required=False,
    )
    shuffle = forms.BooleanField(
        label="Show the answers in another order to each patient", required=False
    )
    unit_en = _line("Unit, English", help_text="As in “US fl oz” or “grams of protein”.")
    unit_es = _line("Unit, Spanish")
    answer = forms.CharField(label="Right number", required=False, max_length=20)
    tolerance = forms.CharField(
        label="Give or take", required=False, max_length=20, help_text="0 for this number alone."
    )

    def __init__(
        self, *args: Any, kind: str, version: int, sections: list[tuple[str, str]], **kwargs: Any
    ) -> None:
        super().__init__(*args, **kwargs)
        field: Any = self.fields["section"]
        field.choices = [("", "Choose a section"), *sections]
        unused = set() if kind == Kind.NUMBER else {"unit_en", "unit_es", "answer", "tolerance"}
        if kind not in (Kind.ONE, Kind.SEVERAL):
            unused.add("shuffle")
        if version > 1:
            unused.add("safety_critical")
        self.leave_out(unused)


class OptionForm(DraftForm):
    """One answer, item or pair; a line without any text is left out."""

    key = forms.CharField(required=False, max_length=60, widget=forms.HiddenInput)
    place = forms.IntegerField(label="Place", required=False, min_value=1, max_value=MOST_OPTIONS)
    text_en = _line("English")
    text_es = _line("Spanish")
    match_en = _line("What goes with it, English")
    match_es = _line("What goes with it, Spanish")
    right = forms.BooleanField(label="Right", required=False)

    def __init__(self, *args: Any, kind: str, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        unused = {"place", "match_en", "match_es", "right"}
        if kind in CHOICES:
            unused -= {"right"}
        elif kind == Kind.ORDER:
            unused -= {"place"}
        else:
            unused -= {"match_en", "match_es"}
        self.leave_out(unused)


OptionFormSet: "type[BaseFormSet[OptionForm]]" = formset_factory(
    OptionForm, extra=0, max_num=MOST_OPTIONS, absolute_max=MOST_OPTIONS + 2
)


class ReviewForm(forms.Form):
    """What a second person says of a draft."""

    agrees = forms.ChoiceField(
        choices=[("yes", "It may be published"), ("no", "Not yet")],
        widget=forms.RadioSelect,
        label="I have read all of it, and",
    )
    note = CleanField(
        label="What should be changed", required=False, max_length=1000, widget=forms.Textarea
    )

    def clean(self) -> dict[str, Any]:
        """Not yet has to say why."""
        cleaned = super().clean() or self.cleaned_data
        if cleaned.get("agrees") == "no" and not cleaned.get("note"):
            self.add_error("note", "Say what should be changed.")
        return cleaned


class PublishForm(forms.Form):
    """Whether a new edition ends what patients showed on earlier ones: asked, never guessed."""

    earlier = forms.ChoiceField(
        choices=[
            ("count", "Patients who are cleared stay cleared"),
            ("end", "Patients who are cleared have to be cleared anew"),
        ],
        widget=forms.RadioSelect,
        label="What about patients who were cleared on an earlier edition?",
        error_messages={"required": "Say what happens to patients who are cleared already."},
    )
