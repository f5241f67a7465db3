"""The check list of the Clear Communication Index: twenty questions that staff answer."""

from collections.abc import Iterator
from typing import Any

from django import forms
from django.forms.boundfield import BoundField

from education.rules.clear_communication import ITEMS, Answer, Part, may_not_apply

BEFORE = (
    "For whom is it: who reads it first of all?",
    "What do you know of how these readers read and count?",
    "What should they think, feel or do after it?",
    "What is the one thing that they must remember?",
)
PARTS = {
    Part.CORE: "For every text",
    Part.BEHAVIOUR: "If it asks for a behaviour",
    Part.NUMBERS: "If it has numbers",
    Part.RISK: "If it speaks of a risk",
}
QUESTIONS = {
    1: "Is there one main message?",
    2: "Does it stand at the beginning?",
    3: "Is it made to stand out: by its type, a line, a box?",
    4: "Does at least one picture say or support it?",
    5: "Are readers told at least one thing to do?",
    6: "Do the main message and what to do say who does what (active voice)?",
    7: "Are all words those that the readers use themselves?",
    8: "Are lists set as lists, with bullets or numbers?",
    9: "Is it in short parts with a heading for each?",
    10: "Is the most important thing summed up in the first part?",
    11: "Does it say what is known for sure, and what is not known?",
    12: "Is there at least one thing that readers should do?",
    13: "Does it say why that matters to them?",
    14: "Does it say exactly how to do it, step by step?",
    15: "Are all numbers such as these readers use (whole, few)?",
    16: "Does it always say what a number means?",
    17: "Is everything worked out, so that readers need not calculate?",
    18: "Does it say what may happen, to whom, and how?",
    19: "Does it say both what is risked and what is gained by the behaviour?",
    20: "Is each chance given as a number also told in words or in a picture?",
}

CHOICES = [(Answer.YES.value, "yes, everywhere"), (Answer.NO.value, "no")]
LEFT_OUT = (Answer.DOES_NOT_APPLY.value, "does not apply")


class IndexForm(forms.Form):
    """One field for each item, item_1 to item_20; it is sent in the address and not kept."""

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        for item, question in QUESTIONS.items():
            choices = [*CHOICES, LEFT_OUT] if may_not_apply(item) else CHOICES
            self.fields[f"item_{item}"] = forms.ChoiceField(
                label=f"{item}. {question}",
                choices=choices,
                widget=forms.RadioSelect,
                error_messages={"required": "Answer this one too."},
            )

    def parts(self) -> Iterator[tuple[str, list[BoundField]]]:
        """Yield each part of the index with its fields."""
        for part, items in ITEMS.items():
            yield PARTS[part], [self[f"item_{item}"] for item in items]

    def answers(self) -> dict[int, Answer]:
        """Return the answers of a valid form."""
        return {item: Answer(self.cleaned_data[f"item_{item}"]) for item in QUESTIONS}
