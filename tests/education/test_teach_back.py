"""A teach-back: what is gone through, what is kept, and what follows from each outcome."""

from datetime import timedelta

import pytest

from education import teach_back
from education.attempts import attempts_left
from education.models import Assignment, Clearance, TeachBack
from education.rules.standing import Reason, Standing
from education.rules.teach_back import TeachBackOutcome
from education.standings import standing_of
from education.teach_back import ClearanceRestsOnIt, MayNotEnd, Said, points_of
from education.teach_back_words import asked
from patients.clock import now
from patients.models import Contact, Means
from patients.programme import current, local_day
from patients.rules.languages import SOURCE_LANGUAGE
from tests.factories import (
    a_member,
    a_patient,
    a_submission,
    an_assignment,
    an_invitation,
    an_operation,
)

pytestmark = pytest.mark.django_db


def test_from_a_failed_quiz_to_a_clearance_on_what_was_said() -> None:
    by = a_member("dietitian").pk
    operation = an_operation(patient=a_patient(language="es"), days_ahead=40)
    assignment = an_assignment(operation=operation)
    on, at = local_day(now()), now()

    def hold(
        outcome: TeachBackOutcome,
        said: dict[str, Said],
        days: int | None = None,
        more: bool = False,
    ) -> TeachBack:
        return teach_back.record(
            assignment,
            outcome=outcome,
            means=Means.CALL,
            said=said,
            next_on=None if days is None else on + timedelta(days=days),
            one_more_attempt=more,
            at=now(),
            by_id=by,
        )

    def reason() -> Reason:
        return standing_of(assignment, on=on).answer.reasons[0]

    # Without any quiz: everything that is safety-critical.
    assert [point.question.key for point in points_of(assignment)] == ["insulin", "stop-time"]
    invitation, _ = an_invitation(assignment=assignment)
    for _ in range(3):
        a_submission(invitation, wrong=2)
    a_submitted = points_of(assignment)
    assert [(p.question.key, p.times) for p in a_submitted] == [
        ("small-bite", 3),
        ("date-moves", 3),
    ]
    assert (attempts_left(assignment.pk), reason()) == (0, Reason.NEEDS_TEACH_BACK)

    # Not yet, with one more attempt: it is given once.
    hold(TeachBackOutcome.NOT_YET, {}, days=2, more=True)
    assert (attempts_left(assignment.pk), reason()) == (1, Reason.FAILED)
    a_submission(invitation, wrong=3)
    assert (attempts_left(assignment.pk), reason()) == (0, Reason.NEEDS_TEACH_BACK)

    # It needs a visit: on the list although nothing is due.
    visit = hold(TeachBackOutcome.NEEDS_VISIT, {"stop-time": Said("At ten?", understood=False)})
    assert reason() == Reason.NEEDS_VISIT
    wanting = Assignment.objects.wanting_a_contact(on=on, zone=current().zone)
    assert list(wanting) == [assignment]
    assert standing_of(assignment, on=on).answer.standing == Standing.NOT_DUE

    # The point that was missed and is safety-critical has to be understood by itself.
    said = {"small-bite": Said("No bites.", understood=True), "stop-time": Said("As told.")}
    contacts = Contact.objects.count()
    with pytest.raises(MayNotEnd):
        hold(TeachBackOutcome.UNDERSTOOD, said)
    assert (Contact.objects.count(), Clearance.objects.count()) == (contacts, 0)
    said["stop-time"] = Said("My team's paper says when.", understood=True)
    held = hold(TeachBackOutcome.UNDERSTOOD, said)
    assert standing_of(assignment, on=on).answer.standing == Standing.CLEARED
    assert held.clearance is not None
    kept = {point.question.key: point for point in held.points.all()}
    assert kept["stop-time"].said == "My team's paper says when."
    assert kept["stop-time"].missed
    assert kept["date-moves"].understood is None
    assert set(kept["stop-time"].asked) == {"en", "es"}  # the patient's language, and staff's
    assert not Assignment.objects.wanting_a_contact(on=on, zone=current().zone).exists()

    # What a clearance rests on is not taken away under it; what cleared nobody can be.
    with pytest.raises(ClearanceRestsOnIt):
        teach_back.correct(held.contact, instead=None, reason="x", at=at, by_id=by)
    teach_back.correct(visit.contact, instead=None, reason="another's", at=now(), by_id=by)
    assert list(TeachBack.objects.standing().values_list("outcome", flat=True)) == [
        TeachBackOutcome.NOT_YET,
        TeachBackOutcome.UNDERSTOOD,
    ]


def test_what_is_asked_is_made_of_the_heading_unless_the_author_wrote_it() -> None:
    (point, _) = points_of(an_assignment())
    heading = point.question.section.heading
    for language, own_words in ((SOURCE_LANGUAGE, "in your own words"), ("es", "con sus palabras")):
        said = asked(point.question, language)
        assert heading[language] in said
        assert own_words in said
    point.question.teach_back = {"en": "How will you tell?", "es": ""}
    assert asked(point.question, "en") == "How will you tell?"
