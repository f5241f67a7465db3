"""What does a FHIR R4 Appointment or ServiceRequest say?  A bundle in, a typed reading out.

Places are named by their path, Appointment.start. Source: hl7.org/fhir/R4 (4.0.1), the resources
Appointment, ServiceRequest, Patient and Bundle. The codes that R4 requires are checked here,
because general FHIR libraries do not (standards row FHR-8).
"""

from collections.abc import Mapping
from datetime import date

from patients.rules.fhir_bundle import (
    OPERATIONS,
    Entry,
    Json,
    control_id,
    entries_of,
    identifiers,
    inside,
    items,
    meant,
    named,
    no_operation,
    read_json,
    text,
    within_length,
)
from patients.rules.fhir_elements import (
    codes_of,
    concepts,
    kind_of,
    name_in_use,
    name_of,
    said_name,
    starts,
    telecom,
    words_of,
)
from patients.rules.fhir_times import read_day, read_instant
from patients.rules.message_formats import MessageFormat
from patients.rules.message_reading import (
    Doubt,
    Event,
    Frame,
    Noted,
    Reading,
    SaidDate,
    Warn,
)
from patients.rules.message_row import MessageRow
from patients.rules.schedule_columns import Column
from patients.rules.schedule_reasons import Reason
from patients.rules.schedule_rows import UNWANTED, Plan

Meaning = tuple[Plan | None, Event]
# Every code of the required value sets appointmentstatus and request-status. No plan: a person has
# to look.
STATUSES: Mapping[str, Mapping[str, Meaning]] = {
    "Appointment": {
        "proposed": (Plan.SCHEDULED, Event.CHANGED),
        "pending": (Plan.SCHEDULED, Event.CHANGED),
        "booked": (Plan.SCHEDULED, Event.CHANGED),
        "arrived": (Plan.SCHEDULED, Event.CHANGED),
        "checked-in": (Plan.SCHEDULED, Event.CHANGED),
        "waitlist": (Plan.ON_HOLD, Event.CHANGED),
        "fulfilled": (Plan.DONE, Event.CHANGED),
        "cancelled": (Plan.CANCELLED, Event.CANCELLED),
        "entered-in-error": (Plan.CANCELLED, Event.DELETED),
        "noshow": (None, Event.DID_NOT_COME),
    },
    "ServiceRequest": {
        "draft": (Plan.SCHEDULED, Event.CHANGED),
        "active": (Plan.SCHEDULED, Event.CHANGED),
        "on-hold": (Plan.ON_HOLD, Event.CHANGED),
        "completed": (Plan.DONE, Event.CHANGED),
        "revoked": (Plan.CANCELLED, Event.CANCELLED),
        "entered-in-error": (Plan.CANCELLED, Event.DELETED),
        "unknown": (None, Event.CHANGED),
    },
}
# Value set request-intent, required in R4.
INTENTS = frozenset(
    {
        "proposal",
        "plan",
        "directive",
        "order",
        "original-order",
        "reflex-order",
        "filler-order",
        "instance-order",
        "option",
    }
)
# These may stand without a date (Appointment, invariant app-3).
MAY_LACK_DATE = frozenset({"proposed", "waitlist", "cancelled", "entered-in-error", "revoked"})
MEDICAL_RECORD = "MR"  # table 0203, identifier types


def read_fhir(content: bytes, frame: Frame) -> Reading:
    """Read one part of a bundle (fhir_bundle.split_bundle). Raises NotTaken."""
    within_length(content)
    bundle = read_json(content)
    entries = entries_of(bundle)
    operations = sorted(
        (entry for entry in entries if entry.kind in OPERATIONS),
        key=lambda entry: (OPERATIONS.index(entry.kind), entry.line),
    )
    if not operations:
        raise no_operation(entries)
    return _Reading(bundle, entries, operations, frame, control_id(bundle, content)).reading()


class _Reading:
    """One operation being read; collects what is wrong with it and what is in doubt."""

    def __init__(
        self,
        bundle: Json,
        entries: list[Entry],
        operations: list[Entry],
        frame: Frame,
        control_id: str,
    ) -> None:
        self.bundle, self.entries, self.operations = bundle, entries, operations
        self.frame, self.control_id = frame, control_id
        self.by_name = named(entries)
        self.sender = self.named_sender()
        self.meant = frame.meant(MessageFormat.FHIR_R4, self.sender)
        self.procedures = frame.procedures.with_words(self.meant)
        self.made = MessageRow(frame)
        self.doubts: list[Noted] = []
        self.practitioners: list[str] = []
        self.places: list[str] = []

    def reading(self) -> Reading:
        plan, event, trigger = self.status()
        case, others = self.case_numbers()
        patient = self.patient()
        phone, email, language = self.person(patient) if patient else ("", "", "")
        dates = self.dates(event)
        self.made.procedure = self.procedure()
        sent = self.sent()
        sent_at = read_instant(sent)
        if sent_at is None:
            self.doubts.append(Noted(Doubt.NO_SEND_TIME, "Bundle.timestamp"))
        row = self.made.row(
            plan=plan,
            case_number=case,
            email=self.made.optional(Column.EMAIL, "Patient.telecom", email),
            phone=self.made.optional(Column.PHONE, "Patient.telecom", phone),
            language=language,
            surgeon=self.made.optional(Column.SURGEON, "Practitioner.name", self.surgeon()),
            facility=self.made.optional(
                Column.FACILITY, "Location.name", self.places[0] if self.places else ""
            ),
        )
        return Reading(
            format=MessageFormat.FHIR_R4,
            sender=self.sender,
            control_id=self.control_id,
            trigger=trigger[:40],
            event=event,
            sent_at=sent_at,
            row=row,
            dates=dates,
            other_case_numbers=others,
            doubts=tuple(self.doubts),
            warnings=tuple(self.made.warnings),
            meant=self.meant,
        )

    def status(self) -> tuple[Plan | None, Event, str]:
        """Return what the statuses mean together; two that differ mean nothing."""
        found: list[Meaning] = []
        said = []
        for entry in self.operations:
            where, code = f"{entry.kind}.status", entry.resource.get("status")
            if code is None:
                self.made.wrong(Reason.MISSING, where)
            elif text(code) not in STATUSES[entry.kind]:
                self.made.wrong(Reason.STATUS_UNKNOWN, where, str(code)[:40])
            else:
                found.append(STATUSES[entry.kind][text(code)])
                said.append(f"{entry.kind}/{code}")
            intent = entry.resource.get("intent")
            if entry.kind == "ServiceRequest" and text(intent) not in INTENTS:
                self.doubts.append(Noted(Doubt.REQUIRED_MISSING, "ServiceRequest.intent"))
        plan, event = found[0] if found else (None, Event.CHANGED)
        if event == Event.DID_NOT_COME:
            self.doubts.append(Noted(Doubt.DID_NOT_COME, "Appointment.status"))
        elif found and plan is None:
            self.doubts.append(Noted(Doubt.STATUS_UNKNOWN, "ServiceRequest.status", "unknown"))
        if any(other[0] != plan for other in found[1:]):
            detail = " / ".join(said)[:80]
            self.doubts.append(
                Noted(Doubt.STATUS_CONTRADICTS, f"{self.operations[0].kind}.status", detail)
            )
            plan, event = None, Event.CHANGED
        return plan, event, said[0] if said else self.operations[0].kind

    def case_numbers(self) -> tuple[str, tuple[str, ...]]:
        """The first identifier of the appointment, else of the request; else the resource's id."""
        found = [
            value for entry in self.operations for _, value in identifiers(entry.resource)
        ] or [text(entry.resource.get("id")) for entry in self.operations[:1]]
        where = f"{self.operations[0].kind}.identifier"
        case = self.made.needed(Column.CASE_NUMBER, where, found[0])
        others = (value for value in dict.fromkeys(found[1:]) if value != found[0])
        return case, tuple(value for value in others if len(value) <= 40)

    def actors(self, entry: Entry) -> list[tuple[str, Json]]:
        """Return where each reference to somebody stands, and the reference."""
        resource = entry.resource
        if entry.kind == "Appointment":
            return [
                ("Appointment.participant.actor", inside(one.get("actor")))
                for one in items(resource.get("participant"))
                if one.get("status") != "declined"
            ]
        return [
            ("ServiceRequest.subject", inside(resource.get("subject"))),
            *(("ServiceRequest.performer", one) for one in items(resource.get("performer"))),
            *(
                ("ServiceRequest.locationReference", one)
                for one in items(resource.get("locationReference"))
            ),
        ]

    def patient(self) -> Json | None:
        """Return the one patient of the operation; surgeon and place are noted on the way."""
        found: dict[str, Json | None] = {}
        where = f"{self.operations[0].kind}.subject"
        for entry in self.operations:
            for place, reference in self.actors(entry):
                name = text(reference.get("reference"))
                resource = self.resolve(entry, name)
                kind = text(resource.get("resourceType")) if resource else kind_of(reference)
                if kind == "Patient":
                    # Contained resources have names of their own in each resource.
                    found[f"{entry.line}{name}" if name.startswith("#") else name] = resource
                    where = place
                elif kind in ("Practitioner", "PractitionerRole"):
                    self.practitioners.append(said_name(resource) or text(reference.get("display")))
                elif kind == "Location":
                    name = text(resource.get("name")) if resource else ""
                    self.places.append(name or text(reference.get("display")))
        people = {_identity(one, name): one for name, one in found.items()}
        if len(people) > 1:
            self.made.wrong(Reason.SEVERAL_PATIENTS, where)
            return None
        patient = next(iter(people.values()), None)
        if patient is None:
            self.made.wrong(Reason.MISSING, "Patient")
        return patient

    def resolve(self, entry: Entry, name: str) -> Json | None:
        """Return what a reference means, here or in the bundle."""
        if name.startswith("#"):
            contained = items(entry.resource.get("contained"))
            return next((one for one in contained if one.get("id") == name[1:]), None)
        found = meant(name, self.by_name)
        return found.resource if found else None

    def person(self, patient: Json) -> tuple[str, str, str]:
        """Take the patient's number, name and date of birth; return phone, email and language."""
        made = self.made
        numbers = [one for one in items(patient.get("identifier")) if one.get("use") != "old"]
        typed = (one for one in numbers if MEDICAL_RECORD in codes_of(inside(one.get("type"))))
        chosen = next(typed, numbers[0] if numbers else {})
        made.mrn = made.needed(Column.MRN, "Patient.identifier", text(chosen.get("value")))
        given, family = name_of(patient)
        if not given and not family and text(name_in_use(patient).get("text")):
            made.wrong(Reason.NAME_NOT_PARTED, "Patient.name")
        else:
            made.names("Patient.name", given, family)
        born = text(patient.get("birthDate"))
        day = read_day(born, zone=self.frame.zone) if born else Reason.MISSING
        if isinstance(day, Reason):
            made.wrong(day, "Patient.birthDate", born[:40])
        elif len(born) > len("2008-02-29"):
            made.wrong(Reason.DATE_UNREADABLE, "Patient.birthDate", born[:40])
        else:
            made.birth_date("Patient.birthDate", day)
        return telecom(patient, "phone"), telecom(patient, "email"), self.language(patient)

    def language(self, patient: Json) -> str:
        spoken = items(patient.get("communication"))
        preferred = (one for one in spoken if one.get("preferred") is True)
        chosen = inside(next(preferred, spoken[0] if spoken else {}).get("language"))
        words = [*codes_of(chosen), text(chosen.get("text"))]
        return self.made.language(next((word for word in words if word), ""))

    def dates(self, event: Event) -> tuple[SaidDate, ...]:
        """Return every date that is given. One day alone becomes the row's."""
        said = []
        for entry in self.operations:
            for where, written in starts(entry):
                day = read_day(written, zone=self.frame.zone)
                if entry.kind == "Appointment" and "T" not in written:
                    day = Reason.DATE_UNREADABLE  # an instant always has a time and a zone
                if isinstance(day, Reason):
                    self.made.wrong(day, where, written[:40])
                elif self.made.may_be_or_date(where, day):
                    said.append(SaidDate(where, day))
        days: set[date] = {one.day for one in said}
        statuses = {text(entry.resource.get("status")) for entry in self.operations}
        if event == Event.DID_NOT_COME:
            return tuple(said)
        if len(days) > 1:
            places = dict.fromkeys(one.where for one in said)
            self.doubts.append(Noted(Doubt.DATES_DIFFER, ", ".join(places)))
        elif days:
            self.made.or_date = days.pop()
        elif not statuses <= MAY_LACK_DATE:
            where = "start" if self.operations[0].kind == "Appointment" else "occurrenceDateTime"
            self.doubts.append(Noted(Doubt.NO_DATE, f"{self.operations[0].kind}.{where}"))
        return tuple(said)

    def procedure(self) -> tuple[str, str]:
        """The one of ours that is named; else the first that is named, for a person to see."""
        named_here = [
            (words_of(concept), code)
            for entry in self.operations
            for concept in concepts(entry)
            for code in (codes_of(concept) or [""])
        ]
        known: dict[int, tuple[str, str]] = {}
        for words, code in named_here:
            procedure = self.procedures.known_as(code, *words)
            if procedure:
                known.setdefault(procedure, (words[0] if words else "", code))
        if len(known) > 1:
            detail = ", ".join(name or code for name, code in known.values())
            self.doubts.append(Noted(Doubt.SEVERAL_PROCEDURES, "Appointment.serviceType", detail))
            return "", ""
        for procedure in known:
            return self.frame.procedures.name(procedure), ""
        words, code = named_here[0] if named_here else ((), "")
        return (words[0] if words else "")[:200], code[:200]

    def surgeon(self) -> str:
        """The practitioner; no name when there are several, because nobody can tell which."""
        names = list(dict.fromkeys(name for name in self.practitioners if name))
        if len(names) > 1:
            self.made.warnings.append(Noted(Warn.SEVERAL_PEOPLE, "Practitioner"))
        return names[0] if len(names) == 1 else ""

    def sent(self) -> str:
        """When the newest of the resources was written, else when the bundle was put together."""
        updated = [
            text(inside(entry.resource.get("meta")).get("lastUpdated")) for entry in self.operations
        ]
        instants = {at: one for one in updated if (at := read_instant(one))}
        return instants[max(instants)] if instants else text(self.bundle.get("timestamp"))

    def named_sender(self) -> str:
        """Return who sent a message, or whose identifier the bundle has."""
        headers = (entry.resource for entry in self.entries if entry.kind == "MessageHeader")
        source = inside(next(headers, {}).get("source"))
        known_as = text(source.get("name")) or text(source.get("endpoint"))
        whose = known_as or text(inside(self.bundle.get("identifier")).get("system"))
        return UNWANTED.sub("", whose)[:200]


def _identity(patient: Json | None, name: str) -> str:
    """The same patient may be contained twice: told apart by the number."""
    values = [value for _, value in identifiers(patient)] if patient else []
    return values[0] if values else name
