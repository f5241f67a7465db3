"""What the administrator types about the programme."""

from django import forms
from django.core.exceptions import ValidationError

from patients.programme import time_zones
from patients.rules.identity import Policy

MATCHING = [
    (
        Policy.NAME_AND_BIRTH_DATE.value,
        "Name and date of birth fit exactly one patient, and nothing speaks against it",
    ),
    (
        Policy.PERSONAL_LINK_ONLY.value,
        "The same, and only if it came through that patient’s own link",
    ),
    (Policy.NEVER.value, "Never: a person decides about each"),
]


class ProgrammeForm(forms.Form):
    """The settings in force; saving writes a new row."""

    name = forms.CharField(max_length=120)
    phone = forms.CharField(
        max_length=40, help_text="Patients and staff are told to call this number."
    )
    emergency_number = forms.CharField(max_length=20)
    time_zone = forms.CharField(
        max_length=64, help_text="By its IANA name, like America/Denver. Days begin and end in it."
    )
    notice_days = forms.IntegerField(
        min_value=0,
        max_value=365,
        label="Notice, in days",
        help_text="A patient who is not cleared is due this many days before the clear-by date.",
    )
    attempts_allowed = forms.IntegerField(
        min_value=1,
        max_value=20,
        help_text="After so many failed quizzes the patient needs teach-back.",
    )
    link_valid_days = forms.IntegerField(
        min_value=1, max_value=365, label="A personal link is good for, in days"
    )
    second_clinician = forms.BooleanField(
        required=False,
        label="A second clinician has to agree to each sign-off and waiver",
        help_text="What was accepted before keeps the rule of its day.",
    )
    teaching_needs_review = forms.BooleanField(
        required=False,
        label="A second person has to read each new edition of a module before it is published",
        help_text="Somebody who wrote no part of it: a dietitian, a clinician or an administrator.",
    )
    escalates = forms.BooleanField(
        required=False,
        label="The surgeon’s office is asked to help when messages get no answer",
        help_text="Shown to the coordinator, until the patient is reached or cleared.",
    )
    messages_before_escalation = forms.IntegerField(
        min_value=1,
        max_value=10,
        label="After so many messages without an answer",
    )
    feed_names_patients = forms.BooleanField(
        required=False,
        label="The calendar feed names patients and procedures",
        help_text=(
            "Calendars are often kept on servers of others. Without this an entry says the answer "
            "and the case number only."
        ),
    )
    reading_grade = forms.IntegerField(
        min_value=1,
        max_value=12,
        label="Patients’ texts are to be read at grade",
        help_text=(
            "A text that is harder is marked, never refused. Sources ask for grade 5, 6 or 8; many "
            "say 6."
        ),
    )
    matching = forms.ChoiceField(
        choices=MATCHING,
        label="When a quiz may be matched to a patient without a person",
        help_text=(
            "The date of birth must be equal, and the name too, but for a middle name, or one "
            "letter or one part of a family name of five letters and more. Against it speaks "
            "somebody of a similar name born on the same day, and somebody else’s link. So "
            "does a name that many patients have, and a namesake whose date of birth is nearly the "
            "same, unless the name is equal and came through the patient’s own link. "
            "A person decides about everything else."
        ),
    )

    def clean_time_zone(self) -> str:
        """Only a zone that exists."""
        zone: str = self.cleaned_data["time_zone"].strip()
        if zone not in time_zones():
            raise ValidationError("There is no such time zone. Write it like America/Denver.")
        return zone
