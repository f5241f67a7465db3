"""The words for everything that can be said about a schedule message: what it is, what to do."""

from collections.abc import Mapping

from patients.models import IntakeStep, Step
from patients.rules.message_formats import MessageFormat
from patients.rules.message_reading import Doubt, Event, MessageRefusal, NotTaken, Warn
from patients.rules.schedule_columns import Column
from patients.rules.schedule_reasons import Notice, Problem, Reason, Said
from patients.schedule_words import Words, notice_words, problem_words

ASK_THE_SENDER = "Ask whoever runs the scheduling system to correct it there and send it again."

EVENTS: dict[Event, str] = {
    Event.BOOKED: "New booking",
    Event.MOVED: "Rescheduled",
    Event.CHANGED: "Changed",
    Event.CANCELLED: "Cancelled",
    Event.DELETED: "Deleted",
    Event.DID_NOT_COME: "Did not come",
}

FORMATS: dict[MessageFormat, str] = {
    MessageFormat.HL7_V2: "HL7 message",
    MessageFormat.FHIR_R4: "FHIR resource",
}

STEPS: dict[Step, str] = {
    Step.APPLIED: "applied",
    Step.UNCHANGED: "nothing to change",
    Step.WAITS: "waits for somebody",
    Step.SET_ASIDE: "set aside",
    Step.OVERTAKEN: "overtaken by a newer message",
    Step.REFUSED: "refused, and the sender was told",
}

DOUBTS: dict[Doubt, Words] = {
    Doubt.DATES_DIFFER: (
        "The message gives two different dates for one operation.",
        "Find out which is right, then choose it.",
    ),
    Doubt.NO_DATE: (
        "The message speaks of a booking and gives no date.",
        "Find out the date, then choose it.",
    ),
    Doubt.ZONE_UNCLEAR: (
        "The time is near midnight, and its time zone is not said: it can be {detail}.",
        "Find out which day is meant, then choose it.",
    ),
    Doubt.DID_NOT_COME: (
        "The message says that the patient did not come. That alone changes no date.",
        "Find out what happens next. Move, hold or cancel the operation on its page, then set "
        "this message aside.",
    ),
    Doubt.STATUS_CONTRADICTS: (
        "What happened and the status do not agree: {detail}.",
        "Find out whether the operation is on.",
    ),
    Doubt.STATUS_UNKNOWN: (
        "The status “{detail}” does not say whether the operation is on.",
        "Find out whether it is.",
    ),
    Doubt.REQUIRED_MISSING: (
        "{where} is required and is empty. The other facts may stand in the wrong places.",
        "Look whether the date and the patient are right.",
    ),
    Doubt.SHIFTED: (
        "The facts of this part stand one place off, so they are not read ({where}).",
        "Look whether the date and the patient are right.",
    ),
    Doubt.SEVERAL_PROCEDURES: (
        "The message names several procedures: {detail}.",
        "Choose the one that this operation is.",
    ),
    Doubt.NO_SEND_TIME: (
        "The message does not say when it was sent, so nobody can tell whether it is the newest.",
        "Find out whether it still holds.",
    ),
    Doubt.SENT_IN_FUTURE: (
        "By its own time the message was sent in the future.",
        "Look at the clocks of both systems.",
    ),
    Doubt.SAME_TIME: (
        "Another message about this operation was sent at the same time and is on record.",
        "Find out which of the two is the later one.",
    ),
    Doubt.CHANGED_HERE_SINCE: (
        "The operation was changed here after this message was sent.",
        "Find out which holds.",
    ),
    Doubt.WORTH_A_LOOK: ("", "Look whether that is meant."),
}

WARNINGS: dict[Warn, str] = {
    Warn.STATUS_MISSING: "{where} is empty: no status was given.",
    Warn.STATUS_NOT_IN_TABLE: "{where}: the status “{detail}” is not one of the standard's.",
    Warn.NOT_TAKEN: "{where} was left out. {detail}",
    Warn.SEVERAL_PEOPLE: "Several people are named, so no surgeon is taken.",
    Warn.CHARACTER_SET_GUESSED: "The character set is not said. Look at the accents.",
}

REFUSALS: dict[MessageRefusal, Words] = {
    MessageRefusal.TOO_LONG: ("The message is too long to be read.", ASK_THE_SENDER),
    MessageRefusal.NOT_A_MESSAGE: (
        "This cannot be read as a schedule message{where}.",
        "Give the file as it was exported: HL7 v2 begins with MSH, FHS or BHS, a FHIR bundle "
        "with {.",
    ),
    MessageRefusal.NO_CONTROL_ID: ("The message has no control id ({where}).", ASK_THE_SENDER),
    MessageRefusal.CHARACTER_SET: (
        "The letters cannot be read: the character set “{detail}” is not known, or not the one "
        "that was used.",
        ASK_THE_SENDER,
    ),
    MessageRefusal.WRONG_TYPE: (
        "“{detail}” is no scheduling message.",
        "Send scheduling messages (SIU) only.",
    ),
    MessageRefusal.WRONG_EVENT: (
        "The event “{detail}” is not taken in.",
        "Taken in are S12, S13, S14, S15, S17 and S26.",
    ),
    MessageRefusal.WRONG_VERSION: ("“{detail}” is not HL7 version 2.", ASK_THE_SENDER),
    MessageRefusal.NOT_PRODUCTION: (
        "The message is marked as a test ({detail}).",
        "Send it with processing id P once it is meant.",
    ),
    MessageRefusal.XML: (
        "This is a FHIR bundle in XML; JSON is read.",
        "Export it as JSON (application/fhir+json).",
    ),
    MessageRefusal.NOT_JSON: ("This is no JSON object, or a broken one.", ASK_THE_SENDER),
    MessageRefusal.NAME_TWICE: (
        "In the JSON one name stands for two things, so it could be read in two ways.",
        ASK_THE_SENDER,
    ),
    MessageRefusal.TOO_DEEP: ("The JSON is nested too deep to be a schedule.", ASK_THE_SENDER),
    MessageRefusal.TOO_MANY_ENTRIES: (
        "The bundle has more than {detail} entries.",
        "Send fewer at a time.",
    ),
    MessageRefusal.WRONG_RESOURCE: (
        "“{detail}” is no schedule ({where}).",
        "Send a bundle (collection, searchset, message or transaction) of Patient and Appointment "
        "or ServiceRequest.",
    ),
    MessageRefusal.NO_OPERATION: (
        "The bundle holds no Appointment and no ServiceRequest: {detail}.",
        "Send the operations with their patients.",
    ),
    MessageRefusal.COUNT_DIFFERS: (
        "The file says at its end that it has another number of messages than the {detail} that "
        "are in it.",
        "It may have been cut off: export it again.",
    ),
}

# The words for a file speak of cells; a message has fields.
_FIELDS: dict[Reason, Words] = {
    Reason.MISSING: ("It is not in the message.", ASK_THE_SENDER),
    Reason.TOO_LONG: ("It is longer than the record can hold.", ASK_THE_SENDER),
    Reason.HAS_NUL: ("It holds a character that is not text (NUL).", ASK_THE_SENDER),
    Reason.LINE_BREAK: ("It holds a line break.", ASK_THE_SENDER),
    Reason.CONTROL_CHARACTER: ("It holds an invisible control character.", ASK_THE_SENDER),
    Reason.HIDDEN_DIRECTION: (
        "It holds an invisible mark that turns the reading direction.",
        ASK_THE_SENDER,
    ),
    Reason.DAMAGED_LETTERS: ("Letters were lost on the way (�).", ASK_THE_SENDER),
    Reason.EMAIL_UNREADABLE: ("It is not an email address.", ASK_THE_SENDER),
    Reason.DATE_UNREADABLE: ("“{detail}” is not a date.", ASK_THE_SENDER),
    Reason.SEVERAL_OPERATIONS_FIT: (
        "The patient has {detail} operations that the message could mean.",
        "Change the right one on its page, then set the message aside.",
    ),
}
COLUMNS: Mapping[str, str] = {
    Column.MRN: "MRN",
    Column.CASE_NUMBER: "case number",
    Column.PROCEDURE: "procedure",
    Column.PROCEDURE_CODE: "procedure",
    Column.STATUS: "status",
    Column.OR_DATE: "OR date",
    Column.FAMILY_NAMES: "name",
    Column.BIRTH_DATE: "date of birth",
    Column.EMAIL: "email",
    Column.PHONE: "phone",
    Column.LANGUAGE: "language",
}


def message_name(step: IntakeStep) -> str:
    """Say which message it was, and what somebody noted as they applied it."""
    message = step.message
    sender = message.sender or message.source
    named = f"{FORMATS[MessageFormat(message.format)]} {message.trigger} from {sender}"
    note = f": “{step.note}”" if step.note else ""
    return f"{named}, control id {message.control_id}{note}"


def reason_words(kept: Mapping[str, str], procedures: Mapping[int, str]) -> tuple[str, str, str]:
    """Return one kept reason (patients.intake.reasons_of) as where, what and what to do."""
    where = COLUMNS.get(kept["where"], kept["where"])
    detail = kept["detail"]
    if kept["kind"] == "problem":
        return (
            where,
            *field_problem_words(Problem(Reason(kept["what"]), where, detail), procedures),
        )
    if kept["kind"] == "notice":
        return where, notice_words(Said(Notice(kept["what"]), detail)), ""
    if kept["kind"] == "warning":
        warn = Warn(kept["what"])
        if warn == Warn.NOT_TAKEN:
            detail = field_problem_words(Problem(Reason(detail)), procedures)[0]
        return where, WARNINGS[warn].format(where=where, detail=detail), ""
    doubt = Doubt(kept["what"])
    what, fix = DOUBTS[doubt]
    if doubt == Doubt.WORTH_A_LOOK:  # a notice, with its own detail in the place of where
        return "", notice_words(Said(Notice(detail), where)), fix
    return where, what.format(where=where, detail=detail), fix


def field_problem_words(problem: Problem, procedures: Mapping[int, str]) -> Words:
    """Return why a message cannot be taken as it is, and what to do."""
    if problem.reason not in _FIELDS:
        return problem_words(problem, procedures)
    what, fix = _FIELDS[problem.reason]
    return what.format(detail=problem.detail), fix


def refusal_words(refused: NotTaken) -> Words:
    """Return why it is no message that can be kept, and what to do."""
    what, fix = REFUSALS[refused.refusal]
    where = refused.where
    if refused.refusal == MessageRefusal.NOT_A_MESSAGE:
        where = f" ({where})" if where else ""
    return what.format(where=where, detail=refused.detail), fix
