"""Read one patient's record: the operations, what each asks for, and how it stands or stood."""

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime

from clinic.bad_addresses import BadAddress, told_of
from clinic.drawings import Drawing, draw
from clinic.duplicates import pairs_of
from clinic.happenings import contacts_of, of_modules
from clinic.history import Event, history
from clinic.models import StaffUser
from clinic.past_day import as_then, help_of, undecided_of
from clinic.reach import Reached, reached
from clinic.second_opinions import first_clinicians
from clinic.words import why
from education.models import Assignment, Clearance, SignOff, Submission, Waiver
from education.reaching import NOTHING_KNOWN, Help, Reaching, reaching
from education.rules.next_step import NextStep, next_step
from education.standings import Told, standings, standings_as_of
from education.titles import titles
from patients import other_names, programme
from patients.as_known import as_known
from patients.clock import end_of_day, local_date
from patients.models import (
    Merge,
    Operation,
    OperationChange,
    OtherName,
    Patient,
    PatientChange,
    Programme,
)
from patients.speaks_for import in_force, operations_of, speaker, speaker_then, spoken_for


@dataclass(frozen=True)
class Module:
    """One assignment with its standing, in words, and the acts' objects.

    `first_clinician` accepted what waits for a second one; None: nothing waits.
    """

    told: Told
    title: str
    why: list[str]
    reached: Reached
    step: NextStep
    waiver: Waiver | None
    sign_off: SignOff | None
    first_clinician: StaffUser | None
    clearances: list[Clearance]

    @property
    def assignment(self) -> Assignment:
        return self.told.assignment


@dataclass(frozen=True)
class PlannedOperation:
    """An operation as it was planned on the day asked about, with its modules."""

    operation: Operation
    planned: OperationChange
    modules: list[Module]
    drawing: Drawing | None


@dataclass(frozen=True)
class Record:
    """A patient's record at the end of the day `on`; `past` when that is before today."""

    patient: Patient
    facts: PatientChange
    on: date
    today: date
    programme: Programme
    operations: list[PlannedOperation]
    events: list[Event]
    undecided: list[Submission]
    other_names: list[OtherName]
    may_be_same: list[Patient]
    merges: list[Merge]
    help: Help | None
    bad_address: BadAddress | None

    @property
    def past(self) -> bool:
        return self.on < self.today


class NotOnRecordThen(Exception):
    """The patient was not on the register on the day asked about."""


class MergedThen(Exception):
    """On the day asked about the record was merged into another one; `speaker` spoke for both."""

    def __init__(self, speaker: Patient) -> None:
        super().__init__("the record was merged into another one")
        self.speaker = speaker


@dataclass(frozen=True)
class AskedAbout:
    """A patient's facts on the day asked about. `known_at` is the end of a past day, else None."""

    facts: PatientChange
    on: date
    today: date
    known_at: datetime | None
    programme: Programme


def asked_about(patient: Patient, *, on: date | None, at: datetime) -> AskedAbout:
    """Return who the patient was at the end of the day `on`, or is today.

    Raises NotOnRecordThen for a day before the patient was enrolled, and MergedThen for a day at
    whose end another record spoke for this one.
    """
    settings = programme.current()
    today = local_date(at, settings.zone)
    asked = on if on and on < today else today
    known_at = end_of_day(asked, settings.zone) if asked < today else None
    spoke = speaker_then(patient, known_at=known_at) if known_at else speaker(patient)
    if spoke != patient:
        raise MergedThen(spoke)
    facts = PatientChange.objects.filter(patient=patient).order_by("-recorded_at", "-id")
    if known_at:
        facts = facts.filter(recorded_at__lt=known_at)
    latest = facts.first()
    if latest is None:
        raise NotOnRecordThen
    return AskedAbout(latest, asked, today, known_at, settings)


def read(patient: Patient, *, on: date | None, at: datetime) -> Record:
    """Read the record as it is, or as it stood at the end of the day `on`.

    Raises NotOnRecordThen and MergedThen as `asked_about` does.
    """
    asked = asked_about(patient, on=on, at=at)
    known_at, settings = asked.known_at, asked.programme
    named = titles(known_at=known_at)
    records = list(spoken_for([patient.pk], known_at=known_at))
    whose = as_known(patient, known_at=known_at)
    bad = next(iter(told_of([whose], zone=settings.zone, known_at=known_at)), None)
    marked = bad.mark.why if bad else None
    # What to do next is said of today alone.
    known = {} if known_at else reaching([patient.pk], zone=settings.zone)
    return Record(
        patient=patient,
        facts=asked.facts,
        on=asked.on,
        today=asked.today,
        programme=settings,
        operations=_operations(
            whose,
            records,
            named,
            known,
            marked,
            on=asked.on,
            known_at=known_at,
            at=known_at or at,
            used=settings,
        ),
        events=history(patient, named, zone=settings.zone, known_at=known_at),
        undecided=_undecided(patient, known_at),
        other_names=other_names_of(patient, known_at=known_at),
        may_be_same=[] if known_at else _may_be_same(patient),
        merges=_merges(patient, known_at),
        help=help_of(records, known_at=known_at)
        if known_at
        else known.get(patient.pk, NOTHING_KNOWN).escalation,
        bad_address=bad,
    )


def _undecided(patient: Patient, known_at: datetime | None) -> list[Submission]:
    if known_at:
        return undecided_of(operations_of(patient, known_at=known_at), known_at=known_at)
    rows = Submission.objects.undecided()
    return list(rows.filter(attempt__invitation__assignment__operation__patient=patient))


def _may_be_same(patient: Patient) -> list[Patient]:
    """Which pairs looked alike on an earlier day is not kept, so a past day does not say."""
    return [pair.other if pair.one_id == patient.pk else pair.one for pair in pairs_of(patient)]


def _merges(patient: Patient, known_at: datetime | None) -> list[Merge]:
    """Of every record that the patient's speaks for, the latest merge first."""
    found: list[Merge] = []
    into = [patient.pk]
    while into:
        rows = in_force(known_at=known_at).filter(kept__in=into)
        some = list(rows.select_related("kept", "merged", "by"))
        found += some
        into = [one.merged_id for one in some]
    for one in found:
        one.merged = as_known(one.merged, known_at=known_at)
    return sorted(found, key=lambda one: (one.recorded_at, one.pk), reverse=True)


def other_names_of(patient: Patient, *, known_at: datetime | None) -> list[OtherName]:
    """Return the former and preferred names that were in force; the current one needs no saying."""
    if known_at is None:
        rows = other_names.in_force(patient)
    else:
        rows = OtherName.objects.filter(patient=patient, recorded_at__lt=known_at).exclude(
            end__recorded_at__lt=known_at
        )
    return list(rows)


def _operations(
    patient: Patient,
    records: Collection[int],
    named: dict[int, str],
    known: Mapping[int, Reaching],
    marked: str | None,
    *,
    on: date,
    known_at: datetime | None,
    at: datetime,
    used: Programme,
) -> list[PlannedOperation]:
    ids = operations_of(patient, known_at=known_at)
    rows = Assignment.objects.filter(operation__in=ids).select_related(
        "operation__patient", "operation__procedure", "module"
    )
    changes = OperationChange.objects.filter(operation__in=ids)
    if known_at:
        changes = changes.filter(recorded_at__lt=known_at)
    in_order = changes.select_related("procedure", "operation").order_by("operation", "version")
    planned = {c.operation_id: c for c in in_order}  # the latest of each
    if known_at:
        then = standings_as_of(rows.order_by("id"), on=on)
        told = as_then(then, patient, planned, known_at=known_at)
    else:
        told = standings(rows.order_by("id"), on=on)
    told.sort(key=lambda one: one.assignment.clear_by or date.max)
    # What there is to act on; of a past day nothing is offered.
    acts = ActedOn() if known_at else _acted_on(patient, ids, told)
    happenings = of_modules(told, records, known_at=known_at, zone=used.zone)
    contacts = contacts_of(records, known_at=known_at, zone=used.zone)
    found = []
    for pk, change in planned.items():
        modules = [
            _module(t, named, acts, known, marked, at=at, used=used)
            for t in told
            if t.assignment.operation_id == pk
        ]
        titled = [(module.title, module.told) for module in modules]
        drawing = draw(change, titled, happenings, contacts, on=on)
        found.append(PlannedOperation(change.operation, change, modules, drawing))
    return sorted(found, key=lambda o: o.planned.or_date or date.max, reverse=True)


@dataclass(frozen=True)
class ActedOn:
    """What the acts of the page are about, by assignment; the clearances of all modules."""

    waivers: dict[int, Waiver] = field(default_factory=dict)
    sign_offs: dict[int, SignOff] = field(default_factory=dict)
    firsts: dict[int, StaffUser] = field(default_factory=dict)
    clearances: list[Clearance] = field(default_factory=list)


def _acted_on(patient: Patient, operations: Collection[int], told: Sequence[Told]) -> ActedOn:
    of_these = {"assignment__operation__in": operations}
    sign_offs = SignOff.objects.standing().filter(**of_these, clearance__patient=patient)
    return ActedOn(
        waivers={w.assignment_id: w for w in Waiver.objects.standing().filter(**of_these)},
        sign_offs={s.assignment_id: s for s in sign_offs},
        firsts=first_clinicians(told),
        clearances=list(Clearance.objects.filter(patient=patient, revocation__isnull=True)),
    )


def _module(
    told: Told,
    named: dict[int, str],
    acts: ActedOn,
    known: Mapping[int, Reaching],
    marked: str | None,
    *,
    at: datetime,
    used: Programme,
) -> Module:
    of = known.get(told.assignment.operation.patient_id, NOTHING_KNOWN)
    mail = reached(told, at=at, zone=used.zone, known=of, marked=marked)
    return Module(
        told=told,
        title=named.get(told.assignment.module_id, told.assignment.module.code),
        why=why(told, mail),
        reached=mail,
        step=next_step(told.answer, mail.reach, on=local_date(at, used.zone)),
        waiver=acts.waivers.get(told.assignment.pk),
        sign_off=acts.sign_offs.get(told.assignment.pk),
        first_clinician=acts.firsts.get(told.assignment.pk),
        clearances=[c for c in acts.clearances if c.module_id == told.assignment.module_id],
    )
