"""The words that staff read for what the rules answer: one place for all pages."""

from clinic.day_words import days
from clinic.reach import Reached
from education.invite import Refusal
from education.models import EndedBecause, IdentityVerdict, MessageState
from education.rules.next_step import NextStep
from education.rules.standing import Evidence, Reason, Standing
from education.standings import Told
from patients.models import Booking
from patients.rules.identity import NameKind, Why

STANDING = {
    Standing.LATE: "late",
    Standing.DUE: "due",
    Standing.NEEDS_SIGN_OFF: "needs sign-off",
    Standing.CLEARED: "cleared",
    Standing.NOT_DUE: "not due",
}

REASON = {
    Reason.QUIZ_PASSED: "quiz passed",
    Reason.TEACH_BACK_SEEN: "teach-back seen by staff",
    Reason.WAIVED: "waived by a clinician",
    Reason.LATE_BUT_SIGNED_OFF: "late, but signed off by a clinician",
    Reason.CLEARED_AFTER_CLEAR_BY: "cleared after the clear-by date",
    Reason.SIGN_OFF_WAITS_FOR_SECOND: "signed off, and waits for a second clinician to agree",
    Reason.WAIVER_WAITS_FOR_SECOND: "waived, and waits for a second clinician to agree",
    Reason.CLEARANCE_TOO_OLD: "the earlier clearance is too old for this OR date",
    Reason.CLEARED_TOO_LATE: "cleared after the operation, too late to count for it",
    Reason.EDITION_SUPERSEDED: "the earlier clearance was on an edition that no longer counts",
    Reason.IDENTITY_UNDECIDED: "a quiz came in, but whose it is has not been decided",
    Reason.NEEDS_VISIT: "gone through in a teach-back, needs a visit",
    Reason.NEEDS_TEACH_BACK: "quiz failed, needs teach-back",
    Reason.FAILED: "quiz failed, may be taken again",
    Reason.NOT_FINISHED: "quiz begun, not finished",
    Reason.NOT_OPENED: "link sent or sheet given, quiz not begun",
    Reason.NEVER_INVITED: "not invited yet",
    Reason.NO_DATE: "no OR date yet",
}

NEXT_STEP = {
    NextStep.DECIDE_IDENTITY: "Decide whose quiz it is",
    NextStep.SIGN_OFF: "Sign off",
    NextStep.SECOND_CLINICIAN: "A second clinician agrees or declines",
    NextStep.SURGEONS_OFFICE: "With the surgeon’s office: log it when the patient is reached",
    NextStep.VISIT: "Arrange the visit",
    NextStep.CALL_SHEET: "Open call sheet",
    NextStep.CALL_TODAY: "Next contact date reached: call",
    NextStep.WAIT_FOR_CONTACT: "Wait for the next contact date",
    NextStep.WAIT_FOR_WINDOW: "Wait: the window is not open yet",
    NextStep.SEND_LINK: "Send link",
    NextStep.SEND_LINK_AGAIN: "Send link again",
    NextStep.CALL: "Call",
    NextStep.WAIT_FOR_MAIL: "Wait: the email is on its way",
    NextStep.NOTHING: "Nothing to do",
}

REFUSAL = {
    Refusal.NO_EMAIL: "no email address on file",
    Refusal.ADDRESS_MARKED: "nothing more goes to the address on file: call",
    Refusal.CLOSED: "no longer required",
    Refusal.NO_DATE: "no OR date yet",
    Refusal.NOT_OPEN_YET: "the window has not opened yet",
    Refusal.NOT_PUBLISHED: "the module has not been published",
    Refusal.NO_ATTEMPT_LEFT: "no attempt left: needs teach-back",
}

# Why a link would not help, although one could be sent.
NO_LINK_NOW = {
    NextStep.NOTHING: "cleared already",
    NextStep.SIGN_OFF: "waits for a sign-off, not for a link",
    NextStep.SECOND_CLINICIAN: "waits for a second clinician, not for a link",
    NextStep.DECIDE_IDENTITY: "a quiz came in: decide whose it is first",
    NextStep.VISIT: "needs a visit, not a link",
    NextStep.CALL: "the last email failed: call instead",
    NextStep.WAIT_FOR_MAIL: "an email is on its way already",
}

EVIDENCE = {Evidence.QUIZ: "quiz passed", Evidence.TEACH_BACK: "teach-back seen by staff"}

BOOKING = {
    Booking.PROPOSED: "proposed",
    Booking.CONFIRMED: "confirmed",
    Booking.ON_HOLD: "on hold",
    Booking.DONE: "done",
    Booking.CANCELLED: "cancelled",
}

MAIL = {
    MessageState.WAITING: "waiting to go out",
    MessageState.SENDING: "going out now",
    MessageState.SENT: "sent",
    MessageState.AMBIGUOUS: "may have gone out: the connection broke",
    MessageState.FAILED: "failed",
    MessageState.WITHDRAWN: "withdrawn, not sent",
}

LINK_ENDED = {
    EndedBecause.REPLACED: "replaced by a newer link",
    EndedBecause.WITHDRAWN: "taken back",
    EndedBecause.READDRESSED: "dead since the address changed",
    EndedBecause.DONE: "the patient left the screen",
}

# How a name is said beside the current one.
NAME_KIND = {NameKind.FORMER: "formerly", NameKind.PREFERRED: "prefers"}

IDENTITY = {
    IdentityVerdict.MATCHED_AUTOMATICALLY: "matched automatically",
    IdentityVerdict.MATCHED_BY_STAFF: "matched by staff",
    IdentityVerdict.NOT_A_PATIENT: "not a patient of ours",
    IdentityVerdict.UNDONE: "decision undone",
}

WHY = {
    Why.BIRTH_DATE_EQUAL: "date of birth equal",
    Why.BIRTH_DATE_DAY_MONTH_EXCHANGED: "date of birth equal if day and month are exchanged",
    Why.BIRTH_DATE_DIGITS_EXCHANGED: "two digits of the date of birth exchanged",
    Why.BIRTH_DATE_ONE_DIGIT: "date of birth differs in one digit",
    Why.BIRTH_DATE_TWO_PARTS: "two of day, month and year of birth equal",
    Why.BIRTH_DATE_TWO_DIGITS: "date of birth differs in two digits",
    Why.BIRTH_DATE_UNKNOWN: "date of birth not known",
    Why.BIRTH_DATE_DIFFERENT: "date of birth differs",
    Why.NAME_EQUAL: "name equal",
    Why.NAME_IN_OTHER_ORDER: "same words in the name, placed otherwise",
    Why.PARTS_IN_OTHER_ORDER: "given and family name in the other order",
    Why.GIVEN_NAME_EQUAL: "given name equal",
    Why.GIVEN_NAME_MIDDLE_NAME: "given name equal but for a middle name",
    Why.GIVEN_NAME_ONE_EDIT: "given name one letter off",
    Why.GIVEN_NAME_SHORT_FORM: "given name is a short form of the record’s, or the other way round",
    Why.GIVEN_NAME_SHARED: "given names have a word in common",
    Why.GIVEN_NAME_INITIAL: "given name’s initial equal",
    Why.GIVEN_NAME_PHONETIC: "given name sounds alike",
    Why.GIVEN_NAME_CLOSE: "given name close",
    Why.GIVEN_NAME_RESEMBLES: "given name differs, though it resembles the record’s",
    Why.GIVEN_NAME_MISSING: "given name missing",
    Why.GIVEN_NAME_DIFFERENT: "given name differs",
    Why.FAMILY_NAME_EQUAL: "family name equal",
    Why.FAMILY_NAME_ONE_EDIT: "family name one letter off",
    Why.FAMILY_NAME_PART_OF_COMPOUND: "family name equal to a part of the other",
    Why.FAMILY_NAME_SHARED: "family names have a word in common",
    Why.FAMILY_NAME_PHONETIC: "family name sounds alike",
    Why.FAMILY_NAME_CLOSE: "family name close",
    Why.FAMILY_NAME_RESEMBLES: "family name differs, though it resembles the record’s",
    Why.FAMILY_NAME_MISSING: "family name missing",
    Why.FAMILY_NAME_DIFFERENT: "family name differs",
    Why.GENERATION_DIFFERS: "not the same generation (Sr, Jr, II, III)",
    Why.BY_FORMER_NAME: "by a former name",
    Why.BY_PREFERRED_NAME: "by the preferred name",
    Why.LINK_AGREES: "the quiz was given to this patient",
    Why.LINK_WAS_SOMEBODY_ELSES: "the quiz was given to somebody else",
    Why.NOBODY_FITS: "nobody fits in both name and date of birth",
    Why.BIRTH_DATE_IMPOSSIBLE: "no calendar has the typed date of birth",
    Why.MORE_THAN_ONE_FITS: "more than one patient fits",
    Why.SIMILAR_NAME_SAME_BIRTH_DATE: "somebody of a similar name was born on the same day",
    Why.NAME_TOO_COMMON: "many patients have this name",
    Why.SHORT_NAME_DIFFERS: "a short family name that differs is another name",
    Why.SOMEBODY_HAS_THE_TYPED_NAME: "another patient has the family name that was typed",
    Why.SOMEBODY_SHARES_THE_PART: (
        "another patient has this given name and that part of the family name"
    ),
    Why.PART_TOO_COMMON: "others have that part of the family name, and a stranger may have it too",
    Why.NAMESAKE_OF_A_NEAR_DATE: "a namesake’s date of birth is nearly the one that was typed",
    Why.GIVEN_NAME_TOO_COMMON: (
        "many patients have this given name, and a stranger’s family name may be as much alike"
    ),
    Why.TOO_MANY_TO_COMPARE: "too many patients to compare with",
    Why.AUTOMATIC_SWITCHED_OFF: "the programme does not match this without a person",
}

# What speaks fully for one person; everything else differs in some way.
AGREES = frozenset(
    {
        Why.BIRTH_DATE_EQUAL,
        Why.NAME_EQUAL,
        Why.GIVEN_NAME_EQUAL,
        Why.FAMILY_NAME_EQUAL,
        Why.BY_FORMER_NAME,
        Why.BY_PREFERRED_NAME,
        Why.LINK_AGREES,
    }
)
DIFFERS = frozenset(Why) - AGREES


def why(told: Told, reached: Reached) -> list[str]:
    """Return every reason of a standing in words, the weightiest first."""
    return [_reason(reason, told, reached) for reason in told.answer.reasons]


def _reason(reason: Reason, told: Told, reached: Reached) -> str:
    facts, answer = told.facts, told.answer
    if reason == Reason.CLEARED_AFTER_CLEAR_BY and answer.cleared_on and facts.clear_by:
        return f"cleared {days((answer.cleared_on - facts.clear_by).days)} after the clear-by date"
    if reason == Reason.NEVER_INVITED and not reached.reach.has_email:
        return "no email address: by phone"
    if reason == Reason.NOT_OPENED:
        return reached.link_words
    return reason_words(reason, told)


def reason_words(reason: Reason, told: Told) -> str:
    """Return a reason in words that are true of this assignment."""
    if reason == Reason.NEVER_INVITED and told.invited_before:
        return "not invited again yet"
    return REASON[reason]
