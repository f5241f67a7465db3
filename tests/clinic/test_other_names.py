"""Other names on the pages: shown beside the current one, kept, ended, asked about."""

from datetime import date, datetime, timedelta
from html import unescape
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from clinic.models import Role, StaffUser
from clinic.once import new_key
from patients import other_names
from patients.clock import now
from patients.merge import merge
from patients.models import OtherName, OtherNameEnd, Patient
from patients.register import FIELDS
from patients.rules.identity import NameKind
from tests.factories import (
    a_member,
    a_patient,
    a_programme,
    a_submission,
    an_assignment,
    an_invitation,
    an_operation,
    signed_in,
)
from tests.patients.rules.test_schedule_rows import SHAPES
from tests.rendered_forms import form_to

pytestmark = pytest.mark.django_db

BORN = date(1984, 2, 29)


@pytest.fixture
def dietitian() -> StaffUser:
    a_programme(at=now() - timedelta(days=40))
    return a_member(Role.DIETITIAN, name="Imogen Tallis")


@pytest.fixture
def client(dietitian: StaffUser) -> Client:
    return signed_in(dietitian)


@pytest.fixture
def ana(dietitian: StaffUser) -> Patient:
    return a_patient(
        at=now() - timedelta(days=30), given_names="Ana", family_names="Ruiz", birth_date=BORN
    )


def page(client: Client, patient: Patient, query: str = "") -> str:
    response = client.get(reverse("patient", args=[patient.pk]) + query)
    assert response.status_code == 200
    return unescape(response.content.decode())


def add(client: Client, patient: Patient, **typed: str) -> Any:
    address = reverse("add-other-name", args=[patient.pk])
    given = {"kind": "former", "given_names": "Ana", "family_names": "Falk", "source": "told us"}
    return client.post(address, form_to(client.get(address), "") | given | typed)


def kept(patient: Patient, *, at: datetime, family: str = "Falk") -> OtherName:
    return other_names.add(
        patient, kind=NameKind.FORMER, given_names="Ana", family_names=family, at=at,
        by_id=None, source="told us",
    )  # fmt: skip


# Kind, what the page says.
KINDS = [("former", "formerly <bdi>Ana Falk</bdi>"), ("preferred", "prefers <bdi>Ana Falk</bdi>")]


@pytest.mark.parametrize("kind, says", KINDS)
def test_a_name_is_kept_and_stands_beside_the_current_one(
    client: Client, ana: Patient, kind: str, says: str
) -> None:
    assert "formerly" not in page(client, ana)
    assert add(client, ana, kind=kind)["Location"] == reverse("patient", args=[ana.pk])
    name = OtherName.objects.get()
    assert (name.kind, name.source, name.by) == (kind, "told us", StaffUser.objects.get())
    shown = page(client, ana)
    assert says in shown
    assert reverse("end-other-name", args=[name.pk]) in shown
    assert reverse("end-other-name", args=[name.pk]) not in page(signed_in(Role.AUDITOR), ana)


@pytest.mark.parametrize("given_names, family_names", SHAPES)
def test_every_shape_of_name_goes_through_the_pages_unchanged(
    client: Client, ana: Patient, given_names: str, family_names: str
) -> None:
    """Promise W7's 25 shapes."""
    add(client, ana, given_names=given_names, family_names=family_names)
    name = OtherName.objects.get()
    assert (name.given_names, name.family_names) == (given_names, family_names)
    assert f"{given_names} {family_names}" in page(client, ana)


# What was typed, what is said about it.
WRONG = [
    ({"given_names": "ANA", "family_names": "Ruíz"}, "found under this name already"),
    ({"given_names": " "}, "This field is required"),
    ({"kind": ""}, "This field is required"),
    ({"kind": "current"}, "Select a valid choice"),
    ({"source": ""}, "This field is required"),
    ({"given_names": "n" * 201}, "at most 200 characters"),
    ({"given_names": "Ana\x00"}, "Null characters are not allowed"),
]


@pytest.mark.parametrize("typed, said", WRONG)
def test_a_name_that_is_none_comes_back_with_what_was_typed(
    client: Client, ana: Patient, typed: dict[str, str], said: str
) -> None:
    response = add(client, ana, **typed)
    assert response.status_code == 422
    html = response.content.decode()
    assert "Nothing was saved yet" in html
    assert said in html
    assert 'value="Falk"' in html or "family_names" in typed
    assert not OtherName.objects.exists()


def test_a_name_is_ended_with_a_reason(client: Client, ana: Patient) -> None:
    name = kept(ana, at=now())
    address = reverse("end-other-name", args=[name.pk])
    assert client.post(address, form_to(client.get(address), "")).status_code == 422
    sent = form_to(client.get(address), "") | {"reason": "Her sister’s."}
    for _ in range(2):
        assert client.post(address, sent).status_code == 302
    assert OtherNameEnd.objects.get().reason == "Her sister’s."
    shown = page(client, ana)
    assert 'class="also-called"' not in shown
    assert "other name kept" in shown, "the history keeps both"
    assert "formerly Ana Falk. Reason: Her sister’s." in shown


def test_ending_a_name_says_which_quizzes_were_matched_by_it(client: Client, ana: Patient) -> None:
    name = kept(ana, at=now(), family="Falkenrath")
    address = reverse("end-other-name", args=[name.pk])
    assert "typed under this name" not in client.get(address).content.decode()
    assignment = an_assignment(operation=an_operation(patient=ana))
    invitation, _ = an_invitation(assignment=assignment)
    submission = a_submission(invitation, family_names="Falkenrath")
    assert submission.decisions.get().patient == ana
    assert "1 quiz that was typed under this name" in client.get(address).content.decode()


def test_the_record_as_it_stood_has_the_names_of_that_day(client: Client, ana: Patient) -> None:
    by = a_member("dietitian")
    days = [now() - timedelta(days=ago) for ago in (25, 20, 15, 10)]
    name = kept(ana, at=days[1])
    other_names.end(name, reason="No", at=days[3] - timedelta(days=2), by_id=by.pk)
    shown = ["also-called" in page(client, ana, f"?on={day:%Y-%m-%d}") for day in days]
    assert shown == [False, True, True, False]


def test_names_are_not_added_to_a_record_that_was_merged(client: Client, ana: Patient) -> None:
    by = a_member("dietitian")
    merge(a_patient(), ana, reason="one", at=now(), by_id=by.pk)
    address = reverse("add-other-name", args=[ana.pk])
    assert client.get(address).status_code in (302, 404)


# --- the correction ------------------------------------------------------------------------------


def correct(client: Client, patient: Patient, **typed: str) -> Any:
    record = {field: getattr(patient, field) for field in FIELDS} | {"source": "a call"}
    record |= {"birth_date": patient.birth_date.isoformat(), "act_key": new_key()} | typed
    return client.post(reverse("correct-patient", args=[patient.pk]), record)


# What is typed for Ana Ruiz, the answer chosen beforehand; None: nothing is asked.
ASKED = [
    ({"family_names": "Whitcombe"}, "keep", "a wholly new family name"),
    ({"family_names": "Ruis"}, "drop", "a letter"),
    ({"family_names": "Ruiz Falk"}, "drop", "a family name more"),
    ({"given_names": "Anna"}, "drop", "a letter of the given name"),
    ({"given_names": "Ánа".replace("а", "a"), "family_names": "RUIZ"}, None, "accents, capitals"),
    ({"phone": "303 555 0199"}, None, "the name stays"),
]


@pytest.mark.parametrize("typed, chosen, why", ASKED)
def test_a_correction_that_changes_the_name_asks_what_the_earlier_one_was(
    client: Client, ana: Patient, typed: dict[str, str], chosen: str | None, why: str
) -> None:
    response = correct(client, ana, **typed)
    if chosen is None:
        assert response.status_code == 302, why
        return
    assert response.status_code == 422, why
    html = response.content.decode()
    assert "The earlier name, “Ana Ruiz”" in html
    assert form_to(response, "")["earlier_name"] == chosen, why
    assert Patient.objects.get(pk=ana.pk).family_names == "Ruiz", "nothing is written yet"
    assert not OtherName.objects.exists()
    # As it came, with what was chosen beforehand.
    sent = form_to(response, "") | {"language": "en"}
    assert client.post(reverse("correct-patient", args=[ana.pk]), sent).status_code == 302
    assert OtherName.objects.exists() is (chosen == "keep")


@pytest.mark.parametrize("answer, is_kept", [("keep", True), ("drop", False)])
def test_the_answer_is_a_persons(client: Client, ana: Patient, answer: str, is_kept: bool) -> None:
    correct(client, ana, family_names="Whitcombe", earlier_name=answer)
    assert Patient.objects.get(pk=ana.pk).family_names == "Whitcombe"
    names = [(n.kind, n.given_names, n.family_names, n.source) for n in OtherName.objects.all()]
    assert names == ([("former", "Ana", "Ruiz", "a call")] if is_kept else [])


def test_a_name_that_is_kept_already_is_not_kept_twice(client: Client, ana: Patient) -> None:
    for family in ("Whitcombe", "Ruiz", "Whitcombe"):
        patient = Patient.objects.get(pk=ana.pk)
        response = correct(client, patient, family_names=family, earlier_name="keep")
        assert response.status_code == 302
    assert OtherName.objects.count() == 2


def test_an_answer_that_is_none_is_refused(client: Client, ana: Patient) -> None:
    response = correct(client, ana, family_names="Whitcombe", earlier_name="perhaps")
    assert response.status_code == 422
    assert "Select a valid choice" in response.content.decode()


def test_a_hundred_thousand_characters_are_a_wrong_name_and_no_question(
    client: Client, ana: Patient
) -> None:
    """Promise T6: the maximum is checked before anything looks into the text."""
    response = correct(client, ana, family_names="n" * 100_000)
    assert response.status_code == 422
    assert "at most 200 characters" in response.content.decode()
    assert "The earlier name" not in response.content.decode()
