"""Every route of the site, with a record behind each, for tests that walk them all."""

import uuid
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import timedelta
from typing import Any

from django.urls import URLPattern, URLResolver, get_resolver, reverse

from clinic import feed_address
from clinic.models import Role, StaffUser
from clinic.schedule_upload import keep
from education import stage_tables
from education.addresses import mark_address
from education.clear import clear_by_teach_back, waive
from education.drafting import begin_draft, latest
from education.invite import Refusal
from education.models import Message, SignOff
from education.often_asked import write
from education.other_ways import call, print_sheet
from education.plan_feed import make_feed, own_feeds
from education.rules.delivery import Why
from education.take_mail import take_mail
from education.teaching_files import keep_picture
from patients.clock import now
from patients.contact import log_contact
from patients.intake_tokens import make as make_intake_token
from patients.keep_apart import keep_apart
from patients.merge import merge
from patients.models import IntakeToken, Means, Outcome
from patients.other_names import add
from patients.rules.identity import NameKind
from patients.schedule_reading import say_of_sender
from tests.drawings import a_drawing
from tests.factories import (
    a_member,
    a_patient,
    a_plan_link,
    a_question,
    a_submission,
    an_answer,
    an_assignment,
    an_invitation,
    an_operation,
)
from tests.hl7_messages import siu, taken
from tests.what_came_back import wrote_back

SCHEDULE = (
    "MRN,Family name,Given names,Date of birth,Procedure,OR date,Case number\n"
    "MRN-X-1,Quill,Tobias,1980-02-13,Sleeve gastrectomy,2027-02-13,C-X-1\n"
)

EATING_PLAN = (
    "eating-plan",
    "eating-plan-pdf",
    "eating-plan-ics",
    "eating-facts",
    "eating-choices",
    "eating-set-aside",
    "eating-give",
    "eating-send",
    "eating-told",
    "eating-discussed",
)


@dataclass(frozen=True)
class Route:
    """One entry of the URL configuration."""

    name: str
    pattern: str
    view: Any
    arguments: tuple[str, ...]

    def address(self, sample: dict[str, Any]) -> str:
        """Return an address of the route with a record behind it; KeyError if none is known."""
        if self.name == "link-to-nowhere":
            return "/q/"
        return reverse(self.name, kwargs={a: sample[f"{self.name}.{a}"] for a in self.arguments})


def every_route() -> list[Route]:
    """Return every route, those of included configurations too."""
    return sorted(_walk(get_resolver().url_patterns, ""), key=lambda route: route.pattern)


def _walk(patterns: list[URLPattern | URLResolver], before: str) -> Iterator[Route]:
    for entry in patterns:
        pattern = before + str(entry.pattern)
        if isinstance(entry, URLResolver):
            yield from _walk(entry.url_patterns, pattern)
        else:
            # What catches every other address under /q/ has no name of its own.
            name = entry.name or "link-to-nowhere"
            arguments = tuple(entry.pattern.converters)
            yield Route(name, pattern, entry.callback, arguments)


def sample_records(administrator: StaffUser) -> dict[str, Any]:
    """Make a record for each argument of each route: "route.argument" to its value."""
    at = now()
    operation = an_operation()
    assignment = an_assignment(operation=operation)
    patient = operation.patient
    invitation, _ = an_invitation(assignment=assignment)
    submission = a_submission(invitation, given_names="Somebody", family_names="Else")
    clearance = clear_by_teach_back(
        patient, assignment.module, at=at, by_id=administrator.pk, note="Said it all."
    )
    contact = log_contact(
        patient, means=Means.CALL, outcome=Outcome.NO_ANSWER, at=at, by_id=administrator.pk
    )
    waiver = waive(assignment, reason="urgent", at=at, by_id=administrator.pk)
    late = SignOff.objects.create(
        assignment=assignment, clearance=clearance, reason="x", recorded_at=at, by=administrator
    )
    make_intake_token("Larkfield OR", key=uuid.uuid4(), at=at, by_id=administrator.pk)
    upload = keep(SCHEDULE.encode(), name="schedule.csv", at=at, by=administrator)
    open_invitation, open_token = an_invitation(assignment=an_assignment(operation=an_operation()))
    asked = a_question(open_invitation)
    _, answer_token = an_answer(asked)
    another = a_patient()
    name = add(
        patient,
        kind=NameKind.FORMER,
        given_names="Wilhelmina",
        family_names="Ashdown",
        at=at,
        by_id=administrator.pk,
        source="told us",
    )
    kept_apart = keep_apart(a_patient(), a_patient(), at=at, by_id=administrator.pk)
    merged = merge(a_patient(), a_patient(), reason="one", at=at, by_id=administrator.pk)
    if stage_tables.current() is None:
        stage_tables.found(at=at)
    plan_link, plan_token = a_plan_link(operation, at=at)
    make_feed(plan_link, plan_token, with_operation=False, at=at)
    draft = begin_draft(assignment.module.code, at=at, by_id=administrator.pk)
    written = latest(draft).content
    mailed = Message.objects.order_by("id")[0]
    marked = mark_address(mailed, Why.NO_MAILBOX, at=at)
    answered = take_mail(wrote_back(mailed, "Please call"), taken_from="a file", at=at)
    assert marked
    assert answered
    by_argument = {
        "section_key": written["section"][0]["key"],
        "picture_key": "new",
        "question_key": written["question"][0]["key"],
        "version": 1,
        "key": "full-liquids",
        "language": "en",
        "email": "reminder",
        "parked_kind": "job",
        "plan_token": plan_token,
        "plan_feed_token": own_feeds(plan_link, plan_token)[0].token,
        "operation_id": operation.pk,
        "staff_id": a_member(Role.DIETITIAN).pk,
        "procedure_id": operation.procedure_id,
        "module_id": assignment.module_id,
        "code": assignment.module.code,
        "assignment": assignment.pk,
        "stamp": int((at - timedelta(hours=1)).timestamp() * 1_000_000),
        "upload_id": upload.pk,
        "token_id": IntakeToken.objects.get().pk,
        "token": open_token,
        "answer_token": answer_token,
        "entry_id": write(
            assignment.module,
            {"en": "May I walk?"},
            {"en": "Most people may."},
            came_from=asked,
            at=at,
            by_id=administrator.pk,
        ).pk,
        "number": 1,
        "other": another.pk,
        "reading_id": say_of_sender(
            "hl7_v2", "OR LARK", words={"x": None}, at=at, by_id=administrator.pk
        ).pk,
        "message_id": taken(siu(sent=at, on=""), at=at).message.pk,
        "feed_token": feed_address.make(a_member(Role.COORDINATOR), key=uuid.uuid4(), at=at),
        "name": "20270101-000000-none",
    }
    opened = an_assignment(operation=an_operation())
    by_id = administrator.pk
    sheet = print_sheet(opened, language="en", at=at, by_id=by_id)
    phone = call(opened, at=at, by_id=by_id)
    assert not isinstance(sheet, Refusal)
    assert not isinstance(phone, Refusal)
    by_route = {
        "patient": patient.pk,
        "other-ways": opened.pk,
        "screen-code": opened.pk,
        "phone-begin": opened.pk,
        "phone-quiz": phone.pk,
        "patient-copy": submission.pk,
        **dict.fromkeys(("enter-sheet", "sheet-pdf", "withdraw-sheet"), sheet.code),
        "clearance-record-pdf": patient.pk,
        "clearance-record-csv": patient.pk,
        "clearance-record-fhir": patient.pk,
        "log-contact": patient.pk,
        "correct-contact": contact.pk,
        "mail-decided": mailed.pk,
        "mail-try-again": marked.pk,
        "mail-answer": answered.pk,
        "mail-by-phone": patient.pk,
        "running-parked": 1,
        **dict.fromkeys(EATING_PLAN, patient.pk),
        "correct-patient": patient.pk,
        "call-sheet": patient.pk,
        "question": asked.pk,
        "question-answer": asked.pk,
        "invite": assignment.pk,
        "teach-back": assignment.pk,
        "sign-off": assignment.pk,
        "waive": assignment.pk,
        "second-opinion": assignment.pk,
        "revoke-sign-off": late.pk,
        "add-other-name": patient.pk,
        "end-other-name": name.pk,
        "find-same": patient.pk,
        "merge": patient.pk,
        "keep-apart": patient.pk,
        "end-kept-apart": kept_apart.pk,
        "undo-merge": merged.pk,
        "revoke-waiver": waiver.pk,
        "revoke-clearance": clearance.pk,
        "submission": submission.pk,
        "decide-identity": submission.pk,
        "undo-identity": submission.pk,
        "note-submission": submission.pk,
    }
    sample = {
        f"{route.name}.{argument}": by_route[route.name]
        if argument == "pk" or (argument == "code" and route.name in by_route)
        else by_argument[argument]
        for route in every_route()
        for argument in route.arguments
    }
    sample["teaching-file.name"] = keep_picture(a_drawing(), at=at).name
    return sample
