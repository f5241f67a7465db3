"""Gather the quizzes of a clearance record: what was answered, and whose each was said to be."""

from collections import Counter
from collections.abc import Collection, Iterable, Iterator
from datetime import datetime
from zoneinfo import ZoneInfo

from django.db.models import Exists, OuterRef, Q

from clinic.evidence.record import (
    Act,
    Answered,
    Asked,
    Beside,
    Cleared,
    Decision,
    PublishedEdition,
    Quiz,
)
from education.answers_in_words import in_order_of, in_words, plain_number
from education.given import from_json
from education.models import (
    MATCHED,
    Edition,
    IdentityDecision,
    Question,
    Submission,
    SubmissionAnswer,
)
from education.rules.scoring import Given
from education.shown import as_written
from patients.clock import local_date
from patients.rules.languages import SOURCE_LANGUAGE


def quizzes_of(
    operations: Collection[int],
    records: Collection[int],
    *,
    known_at: datetime | None,
    zone: ZoneInfo,
) -> tuple[Quiz, ...]:
    """Return what came through the patient's links or was ever taken for the patient's.

    `records`: the ids of the records for which the patient speaks. Of a quiz that is not the
    patient's by the decision in force, neither what was typed nor what was answered is told: it may
    be another person's.
    """
    known = {} if known_at is None else {"recorded_at__lt": known_at}
    ever = IdentityDecision.objects.filter(submission=OuterRef("pk"), patient__in=records, **known)
    rows = (
        Submission.objects.filter(
            Q(attempt__invitation__assignment__operation__in=operations) | Q(Exists(ever)), **known
        )
        .select_related("edition__module", "attempt__invitation", "by")
        .prefetch_related("decisions__by", "answers__question__options")
        .order_by("recorded_at", "id")
    )
    return tuple(_quiz(row, records, known_at=known_at, zone=zone) for row in rows)


def _quiz(
    row: Submission, records: Collection[int], *, known_at: datetime | None, zone: ZoneInfo
) -> Quiz:
    decisions = tuple(
        Decision(
            id=one.pk,
            at=one.recorded_at,
            verdict=one.verdict,
            ours=one.verdict in MATCHED and one.patient_id in records,
            reasons=tuple(one.reasons),
            note=one.note,
            by=str(one.by or ""),
        )
        for one in row.decisions.all()
        if known_at is None or one.recorded_at < known_at
    )
    ours = bool(decisions) and decisions[-1].ours
    in_order = sorted(row.answers.all(), key=lambda answer: answer.question.position)
    return Quiz(
        id=row.pk,
        at=row.recorded_at,
        day=local_date(row.recorded_at, zone),
        module=row.edition.module.code,
        edition=row.edition.number,
        language=row.language,
        typed_name=f"{row.given_names} {row.family_names}".strip() if ours else "",
        typed_birth_date=row.birth_date if ours else None,
        right=row.right,
        total=row.total,
        pass_mark=row.edition.pass_mark,
        passed=row.passed,
        missed_safety=tuple(row.unsafe),
        answers=tuple(_answered(answer) for answer in in_order) if ours else (),
        decisions=decisions,
        way=row.way,
        typed_by=str(row.by or ""),
        answered_on=row.answered_on,
    )


def _answered(row: SubmissionAnswer) -> Answered:
    question = row.question
    given = from_json(row.given) if row.given else None
    parts, keys = _keys(question, given) if given else ((), ())
    words = in_words(question, given, SOURCE_LANGUAGE)
    return Answered(question.key, question.name, keys, words, row.right, parts)


def _keys(question: Question, given: Given) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """Return the keys of what was asked (of pairs) and of what was chosen, or the number."""
    if given.number is not None:
        return (), (plain_number(given.number),)
    key = {option.pk: option.key for option in question.options.all()}
    if given.pairs:
        pairs = in_order_of(question, given)
        return tuple(key[asked] for asked, _ in pairs), tuple(key[chosen] for _, chosen in pairs)
    if given.order:
        return (), tuple(key[item] for item in given.order)
    return (), tuple(name for pk, name in key.items() if pk in given.options)


def editions_of(
    quizzes: Iterable[Quiz], clearances: Iterable[Cleared], *, known_at: datetime | None
) -> tuple[PublishedEdition, ...]:
    """Return the editions that these are about, with their questions."""
    named = {(quiz.module, quiz.edition) for quiz in quizzes}
    named |= {(cleared.module, cleared.edition) for cleared in clearances}
    if not named:
        return ()
    about = Q()
    for code, number in sorted(named):
        about |= Q(module__code=code, number=number)
    rows = Edition.objects.filter(about).select_related("module", "sign__by")
    return tuple(
        PublishedEdition(
            module=row.module.code,
            number=row.number,
            title=row.title[SOURCE_LANGUAGE],
            pass_mark=row.pass_mark,
            at=row.recorded_at,
            signed=_signed(row, known_at),
            questions=_asked(row),
            beside=tuple(_beside(row)),
        )
        for row in rows.order_by("module__code", "number")
    )


def _signed(edition: Edition, known_at: datetime | None) -> Act | None:
    """Return who signed an edition, if somebody had by then."""
    row = getattr(edition, "sign", None)
    if row is None or (known_at is not None and row.recorded_at >= known_at):
        return None
    return Act(row.recorded_at, str(row.by), "")


def _beside(edition: Edition) -> Iterator[Beside]:
    for part in edition.sections.all():
        heading = part.heading[SOURCE_LANGUAGE]
        for one in part.pictures:
            says = one.get("alt", {}).get(SOURCE_LANGUAGE, "")
            yield Beside(heading, "picture", says, one["file"])
        if part.video:
            yield Beside(heading, "video", "", part.video["file"])
            for code, name in part.video["captions"].items():
                yield Beside(heading, f"captions ({code})", "", name)


def _asked(edition: Edition) -> tuple[Asked, ...]:
    written = as_written(edition, SOURCE_LANGUAGE)
    versions = Counter(question.record.key for question in written)
    return tuple(
        Asked(
            key=question.record.key,
            name=question.record.name,
            kind=question.record.kind,
            stem=question.stem,
            unit=question.unit,
            safety_critical=question.record.safety_critical,
            always_asked=versions[question.record.key] == 1,
            options=tuple((keys[option.id], option.text) for option in question.options),
            matches=tuple((keys[match.id], match.match) for match in question.matches),
        )
        for question in written
        for keys in [{option.pk: option.key for option in question.record.options.all()}]
    )
