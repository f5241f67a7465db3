"""Write a clearance record as one FHIR R4 Bundle of the type collection.

Resources (HL7 FHIR R4, hl7.org/fhir/R4): Patient; each operation as Appointment, or as Procedure
once it is done; each edition as Questionnaire and each quiz that is the patient's as
QuestionnaireResponse; each teach-back as Communication; each clearance as Procedure of the category
SNOMED CT 311401005 "Patient education (procedure)", as in the official example Procedure/education;
what each operation needs as Task; and a Provenance for each decision. Every reference is to an
entry of the same bundle.
Plain dicts: nothing here needs a FHIR library.
"""

import uuid
from collections.abc import Iterator
from datetime import date, datetime, timedelta

from clinic.evidence.as_fhir_conversation import communication
from clinic.evidence.as_fhir_quiz import questionnaire, response
from clinic.evidence.fhir_parts import Json, Names, concept, instant, without_empty
from clinic.evidence.record import (
    Accepted,
    Act,
    ClearanceRecord,
    Cleared,
    PlannedOperation,
    Quiz,
    Required,
)
from education.rules.standing import Standing
from patients.clock import end_of_day
from patients.models import Booking

SNOMED = "http://snomed.info/sct"
EDUCATION: Json = {
    "coding": [{"system": SNOMED, "code": "311401005", "display": "Patient education (procedure)"}],
    "text": "Education",
}
RULE = "The programme’s identity rule, without a person"
# Required binding: AppointmentStatus. Nobody has booked what is only held or proposed.
APPOINTMENT = {
    Booking.PROPOSED: "proposed",
    Booking.CONFIRMED: "booked",
    Booking.ON_HOLD: "pending",
    Booking.CANCELLED: "cancelled",
}
NAME_USE = {"former": "old", "preferred": "usual"}


def write(record: ClearanceRecord, *, site: str) -> Json:
    """Return the Bundle. `site`, the address of this installation, makes its identifiers unique."""
    names = Names(site)
    resources = [
        _patient(record, names),
        *(questionnaire(one, names, record.zone) for one in record.editions),
        *(response(one, record, names) for one in record.quizzes if one.ours),
        *(_education(one, record, names) for one in record.clearances),
        *(communication(one, record.person.id, names) for one in record.teach_backs),
        *(_operation(one, record, names) for one in record.operations),
        *(
            _task(required, operation, record, names)
            for operation in record.operations
            for required in operation.required
        ),
        *_provenance(record, names),
    ]
    return {
        "resourceType": "Bundle",
        "id": str(uuid.uuid5(names.space, f"{record.person.id} {record.made_at.isoformat()}")),
        "type": "collection",
        "timestamp": instant(record.made_at),
        "entry": [
            {"fullUrl": f"urn:uuid:{one['id']}", "resource": without_empty(one)}
            for one in resources
        ],
    }


def _patient(record: ClearanceRecord, names: Names) -> Json:
    person = record.person
    others = [
        {"use": NAME_USE[one.kind], **_human_name(one.given_names, one.family_names)}
        for one in person.other_names
    ]
    system = f"{names.site}/mrn"
    merged = [{"use": "old", "system": system, "value": mrn} for mrn in person.also_mrns]
    return {
        "resourceType": "Patient",
        "id": names.id("patient", person.id),
        "identifier": [{"use": "official", "system": system, "value": person.mrn}, *merged],
        "name": [
            {"use": "official", **_human_name(person.given_names, person.family_names)},
            *others,
        ],
        "birthDate": person.birth_date.isoformat(),
        "communication": [
            {"language": {"coding": [{"system": "urn:ietf:bcp:47", "code": person.language}]}}
        ],
    }


def _human_name(given: str, family: str) -> Json:
    return {"family": family, "given": [given], "text": f"{given} {family}".strip()}


# --- operations ----------------------------------------------------------------------------------


def _operation(operation: PlannedOperation, record: ClearanceRecord, names: Names) -> Json:
    shared: Json = {
        "id": names.id("operation", operation.id),
        "identifier": [{"system": f"{names.site}/case", "value": operation.case_number}]
        if operation.case_number
        else [],
    }
    code = {
        "coding": [
            {
                "system": f"{names.site}/procedure",
                "code": operation.procedure_code,
                "display": operation.procedure,
            }
        ],
        "text": operation.procedure,
    }
    if operation.booking == Booking.DONE:
        return {
            "resourceType": "Procedure",
            **shared,
            "status": "completed",
            "code": code,
            "subject": names.to("patient", record.person.id),
            "performedDateTime": _day(operation.or_date),
            "performer": [{"actor": {"display": operation.surgeon}}] if operation.surgeon else [],
            "location": {"display": operation.facility} if operation.facility else {},
        }
    return {
        "resourceType": "Appointment",
        **shared,
        **_when(operation, record),
        "status": APPOINTMENT[Booking(operation.booking)],
        "cancelationReason": concept(operation.plans[-1].reason)
        if operation.booking == Booking.CANCELLED
        else {},
        "serviceType": [code],
        "comment": "Only the day of the operation is known, not the hour.",
        "participant": _participants(operation, record, names),
    }


def _when(operation: PlannedOperation, record: ClearanceRecord) -> Json:
    """Only a day is known: an appointment that is booked must have instants, so they are its ends.

    Invariant app-3: only proposed or cancelled appointments may do without.
    """
    if operation.or_date is None:
        return {}
    day = operation.or_date
    return {
        "start": _local(end_of_day(day - timedelta(days=1), record.zone), record),
        "end": _local(end_of_day(day, record.zone), record),
        "requestedPeriod": [{"start": day.isoformat(), "end": day.isoformat()}],
    }


def _local(at: datetime, record: ClearanceRecord) -> str:
    return at.astimezone(record.zone).isoformat()


def _participants(operation: PlannedOperation, record: ClearanceRecord, names: Names) -> list[Json]:
    status = "accepted" if operation.booking == Booking.CONFIRMED else "tentative"
    actors: list[Json] = [names.to("patient", record.person.id)]
    actors += [{"display": who} for who in (operation.surgeon, operation.facility) if who]
    return [{"actor": actor, "status": status} for actor in actors]


# --- what is needed, and what was shown ----------------------------------------------------------


def _task(
    required: Required, operation: PlannedOperation, record: ClearanceRecord, names: Names
) -> Json:
    """Return one module that an operation needs; its business status is the standing on the day."""
    status = "requested"
    if required.standing == Standing.CLEARED:
        status = "completed"
    elif required.closed:
        status = "cancelled"
    rests_on = names.to("clearance", required.rests_on) if required.rests_on else None
    return {
        "resourceType": "Task",
        "id": names.id("requirement", required.id),
        "status": status,
        "intent": "order",
        "businessStatus": {
            "coding": [{"system": f"{names.site}/standing", "code": required.standing}],
            "text": required.standing.replace("_", " "),
        },
        "statusReason": concept("; ".join(required.reasons)),
        "code": concept(f"Clear by: {required.title}"),
        "focus": names.to("operation", operation.id),
        "for": names.to("patient", record.person.id),
        "lastModified": instant(required.windows[-1].at),
        "restriction": {
            "period": {"start": _day(required.opens_on), "end": _day(required.clear_by)}
        }
        if required.opens_on
        else {},
        "output": [{"type": concept("clearance"), "valueReference": rests_on}] if rests_on else [],
    }


def _education(cleared: Cleared, record: ClearanceRecord, names: Names) -> Json:
    """Return a clearance as the education that it is evidence of.

    A revoked one is "entered-in-error": decisions may have rested on it, and it holds no longer.
    """
    by_person = cleared.made.by if cleared.evidence == "teach_back" else ""
    note = cleared.made.reason
    return {
        "resourceType": "Procedure",
        "id": names.id("clearance", cleared.id),
        "status": "entered-in-error" if cleared.revoked else "completed",
        "statusReason": concept(cleared.revoked.reason) if cleared.revoked else {},
        "category": EDUCATION,
        "code": concept(cleared.title),
        "subject": names.to("patient", record.person.id),
        "performedDateTime": cleared.cleared_on.isoformat(),
        "performer": [{"actor": {"display": by_person}}] if by_person else [],
        "outcome": concept(cleared.evidence.replace("_", " ")),
        "note": [{"text": note}] if note else [],
    }


# --- how each decision was made ------------------------------------------------------------------


def _provenance(record: ClearanceRecord, names: Names) -> Iterator[Json]:
    for quiz in record.quizzes:
        if quiz.ours:
            yield from _whose(quiz, names)
    for cleared in record.clearances:
        target = names.to("clearance", cleared.id)
        if cleared.revoked:
            yield _decided(
                "revocation", cleared.id, target, cleared.revoked, "clearance revoked", names
            )
    for operation in record.operations:
        here = names.to("operation", operation.id)
        for one in operation.confirmations:
            activity = f"OR date {one.or_date.isoformat()} confirmed"
            if one.against_hold:
                activity += f" against a hold, as decided by {one.clinician}"
            yield _decided("confirmation", one.id, here, one.made, activity, names)
        for required in operation.required:
            target = names.to("requirement", required.id)
            for kind, listed in (("signed off", required.sign_offs), ("waived", required.waivers)):
                for accepted in listed:
                    yield from _acceptance(kind, accepted, target, names)


def _whose(quiz: Quiz, names: Names) -> Iterator[Json]:
    target = names.to("quiz", quiz.id)
    for one in quiz.decisions:
        why = "; ".join(filter(None, [*one.reasons, one.note]))
        activity = one.verdict.replace("_", " ")
        made = Act(one.at, one.by or RULE, why)
        yield _decided("decision", one.id, target, made, activity, names)


def _acceptance(kind: str, accepted: Accepted, target: Json, names: Names) -> Iterator[Json]:
    yield _decided(kind, accepted.id, target, accepted.made, kind, names)
    if accepted.second:
        said = "agreed to" if accepted.second.agrees else "declined"
        activity = f"{said} by a second clinician: {kind}"
        yield _decided(f"second {kind}", accepted.id, target, accepted.second.said, activity, names)
    if accepted.taken_back:
        activity = f"taken back: {kind}"
        yield _decided(f"back {kind}", accepted.id, target, accepted.taken_back, activity, names)


def _decided(kind: str, pk: int, target: Json, made: Act, activity: str, names: Names) -> Json:
    return {
        "resourceType": "Provenance",
        "id": names.id(f"provenance {kind}", pk),
        "target": [target],
        "recorded": instant(made.at),
        "activity": concept(activity),
        "reason": [concept(made.reason)] if made.reason else [],
        "agent": [{"who": {"display": made.by}}],
    }


def _day(day: date | None) -> str:
    return day.isoformat() if day else ""
