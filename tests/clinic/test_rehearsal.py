"""Try the matching: on files, and on the programme’s own past. It writes nothing."""

import csv
import io
from datetime import UTC, date, datetime

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from clinic.forms import rehearsal as form
from clinic.forms.programme import MATCHING
from clinic.models import Role
from clinic.rehearsal import on_past_submissions
from clinic.views import rehearsal as view
from education.identify import match, not_a_patient, undo
from education.models import Submission
from patients import programme
from patients.lookup import whose
from patients.merge import merge
from patients.models import Patient
from patients.rules.identity import Claim, Policy, Verdict
from patients.rules.rehearsal_files import Limits, Part
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

pytestmark = pytest.mark.django_db

AT = datetime(2026, 3, 2, 15, tzinfo=UTC)
REGISTER = (
    "patient_id,given_name,family_name,date_of_birth\n"
    "p1,Ana,Ruiz,1980-03-12\np2,Leo,Falk,1975-11-30\n"
)
CLAIMS = (
    "claim_id,given_name,family_name,date_of_birth\n"
    "c1,ANA,RUIZ,1980-03-12\nc2,Leo,Falk,1975-11-03\nc3,Quinn,Abernathy,1959-05-05\n"
)
TRUTH = "claim_id,patient_id\nc1,p1\nc2,p2\nc3,\n"


@pytest.fixture
def desk() -> Client:
    a_programme(at=AT)
    return signed_in(Role.DIETITIAN)


def _files(**contents: str) -> dict[str, SimpleUploadedFile]:
    return {
        part: SimpleUploadedFile(f"{part}.csv", text.encode(), "text/csv")
        for part, text in contents.items()
    }


def _post(desk: Client, button: str, **contents: str) -> str:
    response = desk.post(reverse("rehearsal"), {button: "yes", **_files(**contents)})
    assert response.status_code == 200
    return response.content.decode()


def test_files_are_tried_and_the_result_is_in_plain_words(desk: Client) -> None:
    page = _post(desk, "show", register=REGISTER, claims=CLAIMS, truth=TRUTH)
    assert "Of 3 claims, 1 would be matched without a person (33.33 %)" in page
    assert "False automatic accepts: 0 (of 1 automatic match)." in page
    assert "Right patient first: 100 % (2 of 2)" in page
    assert "nobody fits in both name and date of birth" in page


def test_without_the_truth_nothing_is_said_of_right_and_wrong(desk: Client) -> None:
    page = _post(desk, "show", register=REGISTER, claims=CLAIMS)
    assert "1 would be matched" in page
    assert "False automatic" not in page


def test_a_false_accept_is_a_warning(desk: Client) -> None:
    page = _post(desk, "show", register=REGISTER, claims=CLAIMS, truth="claim_id,patient_id\nc1,\n")
    assert "False automatic accepts: 1" in page
    assert "notice-error" in page


def test_each_decision_can_be_downloaded(desk: Client) -> None:
    response = desk.post(
        reverse("rehearsal"), {"download": "yes", **_files(register=REGISTER, claims=CLAIMS)}
    )
    assert response["Content-Type"].startswith("text/csv")
    text = b"".join(response.streaming_content).decode()  # type: ignore[attr-defined]
    rows = list(csv.DictReader(io.StringIO(text)))
    assert [(r["claim_id"], r["decision"], r["patient_id"]) for r in rows] == [
        ("c1", "auto", "p1"),
        ("c2", "review", ""),
        ("c3", "none", ""),
    ]
    assert rows[1]["candidates"].split()[0] == "p2"
    assert "two digits of the date of birth exchanged" in rows[1]["reasons"]


@pytest.mark.parametrize(
    "part, text, said",
    [
        ("register", "patient_id,given_name,family_name\np1,Ana,Ruiz\n", "date_of_birth"),
        ("register", REGISTER + "p1,Eva,Ruiz,1980-03-12\n", "line 4, column patient_id"),
        ("register", REGISTER.replace("1980-03-12", "12/03/1980"), "line 2, column date_of_birth"),
        ("claims", CLAIMS.replace("c2", ""), "line 3, column claim_id"),
        ("claims", "", "empty"),
        (
            "register",
            REGISTER.splitlines()[0],
            "Register file, line 1: the file has no patients in it; there is only the header.",
        ),
        (
            "claims",
            CLAIMS.splitlines()[0],
            "Claims file, line 1: the file has no claims in it; there is only the header.",
        ),
    ],
)
def test_what_is_wrong_is_said_with_line_and_column(
    desk: Client, part: str, text: str, said: str
) -> None:
    contents = {"register": REGISTER, "claims": CLAIMS, part: text}
    response = desk.post(reverse("rehearsal"), {"show": "yes", **_files(**contents)})
    page = response.content.decode()
    assert response.status_code == 422
    assert said in page
    assert "Nothing was tried yet" in page
    assert "autofocus" in page


def test_a_missing_file_is_asked_for(desk: Client) -> None:
    response = desk.post(reverse("rehearsal"), {"show": "yes", **_files(register=REGISTER)})
    assert response.status_code == 422
    assert "Choose this file first." in response.content.decode()


def test_too_much_is_refused_before_it_is_read(
    desk: Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(form, "LIMITS", Limits(max_bytes=60, rows={Part.CLAIMS: 2}))
    response = desk.post(
        reverse("rehearsal"), {"show": "yes", **_files(register=REGISTER, claims=CLAIMS)}
    )
    assert response.status_code == 422
    assert "Use the command" in response.content.decode()
    monkeypatch.setattr(form, "LIMITS", Limits(max_bytes=6000, rows={Part.CLAIMS: 2}))
    response = desk.post(
        reverse("rehearsal"), {"show": "yes", **_files(register=REGISTER, claims=CLAIMS)}
    )
    assert response.status_code == 422
    assert "more than 2 rows" in response.content.decode()


def _came_in(given_names: str, born: date) -> tuple[Patient, Submission]:
    """A submission under a name that is not on the register, through a patient's link."""
    patient = a_patient(
        at=AT, given_names="Ana", family_names=f"Ruiz{born.year}", birth_date=born, mrn=f"{born}"
    )
    invitation, _ = an_invitation(
        assignment=an_assignment(operation=an_operation(patient=patient, at=AT), at=AT), at=AT
    )
    return patient, a_submission(invitation, at=AT, given_names=given_names)


def test_past_submissions_are_asked_about_anew(desk: Client) -> None:
    by = a_member(Role.DIETITIAN).pk
    _came_in("Ana", date(1970, 1, 1))  # the rule matched it
    patient, other_name = _came_in("Anita", date(1971, 1, 1))
    match(other_name, patient, at=AT, by_id=by)
    _, nobodys = _came_in("Zelda", date(1972, 1, 1))
    not_a_patient(nobodys, at=AT, by_id=by)
    _came_in("Quinn", date(1973, 1, 1))  # undecided
    with CaptureQueriesContext(connection) as sent:
        page = _post(desk, "past")
    assert "Of 3 submissions that people or the rule decided, 1 would be matched" in page
    assert "People decided 2 of them, and what they said is taken for the truth." in page
    assert "Right patient first: 100 % (1 of 1) of submissions of patients" in page
    assert (
        "The rule matched 1 of them by itself, and nobody took that back. It would match 1 of "
        "these to the same patient again, and 0 to somebody else." in page
    )
    assert "Not asked about: 1 submission that was never decided." in page
    written = [q["sql"] for q in sent if q["sql"].startswith(("INSERT", "UPDATE", "DELETE"))]
    assert all("trail" in sql or "session" in sql for sql in written), "nothing but the trail"


def test_a_match_that_a_person_took_back_shows_as_a_false_accept(desk: Client) -> None:
    """What the rule would do again, although a person said otherwise."""
    by = a_member(Role.DIETITIAN).pk
    _, submission = _came_in("Ana", date(1970, 1, 1))
    undo(submission, at=AT, by_id=by, reason="it was her sister")
    not_a_patient(submission, at=AT, by_id=by)
    page = _post(desk, "past")
    assert "False automatic accepts: 1" in page
    assert "notice-error" in page


def _taken_back(page: str) -> str:
    """What the page says, before all figures, about matches of the rule that did not last."""
    before, figures, _ = page.partition('id="result"')
    assert figures
    return before.partition("A person took back ")[2]


def test_matches_that_a_person_took_back_are_said_first_whatever_followed(desk: Client) -> None:
    by = a_member(Role.DIETITIAN).pk
    nobodys, same_again, undecided, by_hand, stands = (
        _came_in(name, date(1970 + n, 1, 1))
        for n, name in enumerate(("Ana", "Ana", "Ana", "Anita", "Ana"))
    )
    match(by_hand[1], by_hand[0], at=AT, by_id=by)
    for _, submission in (nobodys, same_again, undecided, by_hand):
        undo(submission, at=AT, by_id=by, reason="her sister rang")
    not_a_patient(nobodys[1], at=AT, by_id=by)
    match(same_again[1], same_again[0], at=AT, by_id=by)
    page = _post(desk, "past")
    said = _taken_back(page)
    assert said.startswith("3 matches that the rule had made by itself; look at why:")
    for _, submission in (nobodys, same_again, undecided):
        assert f'href="{reverse("submission", args=[submission.pk])}"' in said
    for _, submission in (by_hand, stands):
        assert f'href="{reverse("submission", args=[submission.pk])}"' not in said
    assert (
        "The rule was asked again about 2 of them, which people decided since; it would match 1 "
        "of these to the wrong person." in said
    )
    assert "False automatic accepts: 1 (of 2 automatic matches)" in page
    assert "The rule matched 1 of them by itself, and nobody took that back." in page


def test_a_match_that_was_taken_back_is_no_proof_of_a_false_accept(desk: Client) -> None:
    patient, submission = _came_in("Ana", date(1970, 1, 1))
    by = a_member(Role.DIETITIAN).pk
    undo(submission, at=AT, by_id=by, reason="the wrong button")
    said = _taken_back(_post(desk, "past"))
    assert said.startswith("1 match that the rule had made by itself; look at why:")
    assert "asked again" not in said
    match(submission, patient, at=AT, by_id=by)
    page = _post(desk, "past")
    assert (
        "The rule was asked again about 1 of them, which people decided since; it would match 0 "
        "of these to the wrong person." in _taken_back(page)
    )
    assert "False automatic accepts: 0" in page
    assert "notice-error" not in page


def test_of_many_that_were_taken_back_twenty_are_linked(desk: Client) -> None:
    by = a_member(Role.DIETITIAN).pk
    for n in range(21):
        _, submission = _came_in("Ana", date(1960 + n, 1, 1))
        undo(submission, at=AT, by_id=by, reason="her sister rang")
    said = _taken_back(_post(desk, "past"))
    assert said.startswith("21 matches")
    assert said.count("<a href") == 20
    assert ", and 1 more." in said


def test_where_nothing_was_taken_back_nothing_is_said_of_it(desk: Client) -> None:
    _came_in("Ana", date(1970, 1, 1))
    assert "took back" not in _post(desk, "past")


def test_what_each_setting_would_have_done_whatever_is_set_now(desk: Client) -> None:
    """The one who chooses sees all three; what the narrower one matches came by its own link."""
    patient, _ = _came_in("Ana", date(1970, 1, 1))
    _came_in("Quinn", date(1973, 1, 1))
    invitation, _ = an_invitation(
        assignment=an_assignment(operation=an_operation(at=AT), at=AT), at=AT
    )
    sent_on = a_submission(  # somebody else's link: a person has to decide
        invitation,
        at=AT,
        given_names=patient.given_names,
        family_names=patient.family_names,
        birth_date=patient.birth_date,
    )
    by = a_member(Role.ADMINISTRATOR).pk
    match(sent_on, patient, at=AT, by_id=by)
    programme.change(at=AT, by_id=by, matching=Policy.NEVER)
    page = _post(desk, "past")
    shares = [page.split(f'<td>{label}</td><td data-label="Matched">')[1] for _, label in MATCHING]
    assert [share.split("<")[0] for share in shares] == [
        "50 % (1 of 2)",
        "50 % (1 of 2)",
        "0 % (0 of 2)",
    ]


def test_the_count_by_links_is_what_the_rule_says_under_that_setting(desk: Client) -> None:
    _came_in("Ana", date(1970, 1, 1))
    _, other = _came_in("Anita", date(1971, 1, 1))
    not_a_patient(other, at=AT, by_id=a_member(Role.DIETITIAN).pk)
    matched = sum(
        whose(
            Claim(row.given_names, row.family_names, row.birth_date),
            link_patient_id=row.attempt.invitation.assignment.operation.patient_id,
            policy=Policy.PERSONAL_LINK_ONLY,
        ).verdict
        == Verdict.AUTOMATIC
        for row in Submission.objects.all()
    )
    settings = dict(on_past_submissions().settings)
    assert settings[dict(MATCHING)[Policy.PERSONAL_LINK_ONLY]] == f"50 % ({matched} of 2)"


def test_what_was_decided_for_a_merged_record_is_right_for_the_one_that_was_kept(
    desk: Client,
) -> None:
    patient, submission = _came_in("Ana", date(1970, 1, 1))
    by = a_member(Role.CLINICIAN).pk
    undo(submission, at=AT, by_id=by, reason="to say it by hand")
    match(submission, patient, at=AT, by_id=by)
    kept = a_patient(
        at=AT, given_names="Ana", family_names="Ruiz1970", birth_date=date(1970, 1, 1), mrn="kept"
    )
    merge(kept, patient, reason="one person", at=AT, by_id=by)
    page = _post(desk, "past")
    assert "False automatic accepts: 0" in page
    assert "Right patient first: 100 % (1 of 1)" in page


def test_a_wrong_match_leads_to_the_submission(desk: Client) -> None:
    by = a_member(Role.DIETITIAN).pk
    _, submission = _came_in("Ana", date(1970, 1, 1))
    undo(submission, at=AT, by_id=by, reason="it was her sister")
    page = _post(desk, "past")
    assert "Nobody has decided yet" in page
    assert "the decision is undone" in page
    not_a_patient(submission, at=AT, by_id=by)
    assert reverse("submission", args=[submission.pk]) in _post(desk, "past")


def test_one_rehearsal_at_a_time(desk: Client) -> None:
    with view.ONE_AT_A_TIME:
        response = desk.post(reverse("rehearsal"), {"past": "yes"})
    assert response.status_code == 409
    assert "Somebody else is trying it just now." in response.content.decode()
    assert desk.post(reverse("rehearsal"), {"past": "yes"}).status_code == 200


def test_with_nothing_to_try_the_page_says_so(desk: Client) -> None:
    page = desk.get(reverse("rehearsal")).content.decode()
    assert "Nobody has decided yet whose a submission is" in page
    assert "rehearse_matching" in page
