"""A quiz on a sheet of paper, in the words that the patient reads; in the language that is active.

No fact about the patient is printed: the code finds the quiz, and who took it the patient writes.
"""

from datetime import date
from typing import Any

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from education.shown import ShownQuestion
from education.written import lines_of, options_of
from education.written_days import plain_day
from patients.models import Programme

Data = dict[str, Any]


def sheet(
    *, title: str, questions: list[ShownQuestion], programme: Programme, good_until: date
) -> Data:
    """Return what a sheet says, but for its code; strings and lists of strings only."""
    until = plain_day(good_until)
    count = len(questions)
    return {
        "title": title,
        "programme": programme.name,
        "code_label": _("Code"),
        "page": _("Page"),
        "of": _("of"),
        "how": [
            ngettext(
                "This sheet has %(count)s question. Answer it with a pen.",
                "This sheet has %(count)s questions. Answer them with a pen.",
                count,
            )
            % {"count": count},
            _("You do not know an answer? Leave it empty."),
            _("Give all pages back to us by this day: %(day)s.") % {"day": until},
        ],
        "who": [_("First name"), _("Last name")],
        "born": [_("Date of birth"), _("Month"), _("Day"), _("Year")],
        "today": [_("Today is"), _("Month"), _("Day"), _("Year")],
        "questions": [_question(question) for question in questions],
        "after": [
            _("We check your answers and tell you the result."),
            _("Questions? Call %(name)s: %(phone)s")
            % {"name": programme.name, "phone": programme.phone},
        ],
        "cautions": _cautions(programme),
    }


def _question(question: ShownQuestion) -> Data:
    return {
        "number": str(question.number),
        "stem": question.stem,
        "how": _how(question),
        "options": [[one.letter, one.text] for one in options_of(question)],
        "lines": lines_of(question),
        "unit": question.unit if question.is_number else "",
        "kind": question.record.kind,
    }


def _how(question: ShownQuestion) -> str:
    if question.is_number:
        return _("Write a number.")
    if question.is_order:
        return _("Write 1 beside what comes first, then 2, and so on.")
    if question.is_match:
        return _("Write a letter on each line. Each letter fits just one line.")
    return _("You can mark more than one.") if question.is_several else _("Mark one answer.")


def _cautions(programme: Programme) -> Data:
    return {
        "first": [
            _("Your surgical team comes first."),
            _("Does your team tell you something else? Then do what your team says."),
        ],
        "call": _("Call us before you start if one of these is true for you:"),
        "lines": [
            _("You take insulin or other diabetes medicine."),
            _("You take a blood thinner."),
            _("You take blood-pressure or water tablets."),
            _("You are pregnant, or may be."),
        ],
        "emergency": _(
            "Emergency? Chest pain, trouble breathing, or fainting? Call at once: %(number)s"
        )
        % {"number": programme.emergency_number},
    }
