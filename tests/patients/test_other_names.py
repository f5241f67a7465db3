"""Former and preferred names: kept as they were told, found by, and ended."""

from datetime import UTC, date, datetime, timedelta

import pytest

from education.models import IdentityVerdict, Submission
from patients import import_schedule, other_names
from patients.lookup import whose
from patients.models import MatchName, OtherName, OtherNameEnd, Patient
from patients.register import correct
from patients.rules.identity import Claim, NameKind, Policy
from tests.factories import (
    a_member,
    a_patient,
    a_procedure,
    a_submission,
    an_invitation,
)
from tests.patients.rules.test_schedule_rows import SHAPES

pytestmark = pytest.mark.django_db

AT = datetime(2026, 3, 2, 15, tzinfo=UTC)
LATER = AT + timedelta(days=1)
FORMER, PREFERRED = NameKind.FORMER, NameKind.PREFERRED


def ana() -> Patient:
    return a_patient(
        at=AT, given_names="Ana", family_names="Ruiz", birth_date=date(1984, 2, 29), mrn="A-1"
    )


def added(patient: Patient, given: str, family: str, kind: NameKind = FORMER) -> OtherName:
    return other_names.add(
        patient,
        kind=kind,
        given_names=given,
        family_names=family,
        at=LATER,
        by_id=None,
        source="told us",
    )


def found_by(given: str, family: str) -> int | None:
    claim = Claim(given, family, date(1984, 2, 29))
    decision = whose(claim, link_patient_id=None, policy=Policy.NAME_AND_BIRTH_DATE)
    return int(decision.person_id) if decision.person_id is not None else None


@pytest.mark.parametrize("kind", [FORMER, PREFERRED])
def test_a_name_is_kept_and_the_patient_found_by_it(kind: NameKind) -> None:
    patient = ana()
    assert found_by("Anneliese", "Falk") is None
    name = added(patient, "Anneliese", "Falk", kind)
    assert found_by("Anneliese", "Falk") == patient.pk
    assert found_by("Ana", "Ruiz") == patient.pk, "by the current one as before"
    assert list(other_names.in_force(patient)) == [name]


def test_an_ended_name_finds_nobody_and_stays_on_record() -> None:
    patient, by = ana(), a_member("dietitian")
    name = added(patient, "Anneliese", "Falk")
    assert other_names.end(name, reason="Her sister’s", at=LATER, by_id=by.pk)
    assert found_by("Anneliese", "Falk") is None
    assert not other_names.in_force(patient).exists()
    assert OtherName.objects.get().end.reason == "Her sister’s"
    assert not other_names.end(name, reason="again", at=LATER, by_id=by.pk), "once is enough"
    assert OtherNameEnd.objects.count() == 1
    added(patient, "Anneliese", "Falk")  # and it may be kept anew


# Given, family, why it adds nothing to Ana Ruiz, formerly Ana Falk
KNOWN = [
    ("Ana", "Ruiz", "the current name"),
    ("ANA", "RUÍZ", "in normal form"),
    ("Ana", "Falk", "kept already"),
    ("Sra. ana", "falk", "kept already, in normal form"),
]


@pytest.mark.parametrize("given, family, why", KNOWN)
def test_a_name_that_is_known_is_refused(given: str, family: str, why: str) -> None:
    patient = ana()
    added(patient, "Ana", "Falk")
    with pytest.raises(other_names.NameKnown):
        added(patient, given, family, PREFERRED)
    assert OtherName.objects.count() == 1, why


def test_the_refusal_rests_on_the_record_not_on_the_copy_in_hand() -> None:
    patient = ana()
    stale = Patient.objects.get(pk=patient.pk)
    correct(patient, at=LATER, source="call", family_names="Falk")
    with pytest.raises(other_names.NameKnown):
        added(stale, "Ana", "Falk")


@pytest.mark.parametrize("given_names, family_names", SHAPES)
def test_every_shape_of_name_comes_through_unchanged(given_names: str, family_names: str) -> None:
    """Promise W7's 25 shapes."""
    name = added(ana(), given_names, family_names)
    kept = OtherName.objects.get(pk=name.pk)
    assert (kept.given_names, kept.family_names) == (given_names, family_names)


def test_adding_and_ending_ask_for_duplicates_anew() -> None:
    patient, by = ana(), a_member("dietitian")
    for step in ("add", "end"):
        Patient.objects.update(compare_with_register=False)
        if step == "add":
            name = added(patient, "Anneliese", "Falk")
        else:
            other_names.end(name, reason="No", at=LATER, by_id=by.pk)
        assert Patient.objects.get(pk=patient.pk).compare_with_register, step


def test_an_undecided_quiz_is_asked_again() -> None:
    """Typed under the maiden name, before anybody knew of it."""
    invitation, _ = an_invitation(at=AT)
    patient = invitation.assignment.operation.patient
    submission = a_submission(
        invitation, at=AT, given_names="Anneliese", family_names="Falkenrath-Moor"
    )
    assert submission in Submission.objects.undecided()
    added(patient, "Anneliese", "Falkenrath-Moor")
    [decision] = submission.decisions.all()
    assert decision.verdict == IdentityVerdict.MATCHED_AUTOMATICALLY
    assert decision.patient == patient


def a_schedule(family: str, given: str = "Ana") -> bytes:
    return (
        "MRN,Family name,Given names,Date of birth,Procedure,OR date\n"
        f"A-1,{family},{given},1984-02-29,Sleeve gastrectomy,2026-05-04\n"
    ).encode()


def imported(data: bytes) -> None:
    import_schedule.apply(data, day_first=None, at=LATER, name="march.csv")


def test_a_schedule_with_a_new_family_name_keeps_the_earlier_one() -> None:
    patient = ana()
    a_procedure()
    imported(a_schedule("Whitcombe"))
    assert Patient.objects.get(pk=patient.pk).family_names == "Whitcombe"
    [name] = other_names.in_force(patient)
    assert (name.kind, name.given_names, name.family_names) == (FORMER, "Ana", "Ruiz")
    assert "march.csv" in name.source
    assert found_by("Ana", "Ruiz") == patient.pk


@pytest.mark.parametrize("family", ["Ruíz", "Ruis", "Ruiz Falk"])
def test_a_schedule_that_spells_the_name_otherwise_keeps_no_former_one(family: str) -> None:
    patient = ana()
    a_procedure()
    imported(a_schedule(family))
    assert not other_names.in_force(patient).exists()


def test_a_schedule_that_goes_back_and_forth_keeps_each_name_once() -> None:
    patient = ana()
    a_procedure()
    for family in ("Whitcombe", "Ruiz", "Whitcombe", "Ruiz"):
        imported(a_schedule(family))
    names = MatchName.objects.filter(patient=patient).values_list("kind", "family")
    assert set(names) == {("current", "ruiz"), ("former", "whitcombe"), ("former", "ruiz")}
    assert other_names.in_force(patient).count() == 2
