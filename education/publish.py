"""Publish an edition of a module: from here on its words and its key never change."""

from datetime import datetime

from django.db import transaction

from education.edition_files import check_kept, pictures_record, video_record
from education.models import Edition, Module, Option, Question, Section
from education.rules.module_text import ModuleText, QuestionText, languages_complete
from education.rules.scoring import Kind


def publish(
    text: ModuleText,
    *,
    at: datetime,
    by_id: int | None = None,
    earlier_clearances_count: bool = True,
) -> Edition:
    """Publish the next edition of a module, the module itself included if it is new.

    `earlier_clearances_count=False` makes clearances on earlier editions stop counting. Raises
    FileNotKept when a section names a picture, video or captions that are not kept.
    """
    check_kept(text)
    with transaction.atomic():
        module, _ = Module.objects.get_or_create(code=text.code)
        Module.objects.select_for_update().get(pk=module.pk)
        edition = Edition.objects.create(
            module=module,
            number=module.editions.count() + 1,
            title=dict(text.title),
            languages=list(languages_complete(text)),
            pass_mark=text.pass_mark,
            earlier_clearances_count=earlier_clearances_count,
            recorded_at=at,
            by_id=by_id,
        )
        sections = [
            Section(
                edition=edition,
                position=position,
                key=part.key,
                heading=dict(part.heading),
                body=dict(part.body),
                ask_yourself=dict(part.ask_yourself or {}),
                sources=part.sources,
                pictures=pictures_record(part),
                video=video_record(part),
            )
            for position, part in enumerate(text.sections, start=1)
        ]
        by_key = {section.key: section for section in Section.objects.bulk_create(sections)}
        versions = [
            (version, _question(version, number, edition, by_key[version.section], position))
            for position, question in enumerate(text.questions, start=1)
            for number, version in enumerate(question.every_version, start=1)
        ]
        Question.objects.bulk_create(question for _, question in versions)
        Option.objects.bulk_create(
            option for version, question in versions for option in _options(version, question)
        )
    return edition


def _question(
    text: QuestionText, version: int, edition: Edition, section: Section, position: int
) -> Question:
    return Question(
        edition=edition,
        section=section,
        position=position,
        key=text.key,
        version=version,
        shuffle=text.shuffle,
        kind=Kind(text.kind),
        safety_critical=text.safety_critical,
        stem=dict(text.stem),
        explanation=dict(text.explanation),
        teach_back=dict(text.teach_back or {}),
        unit=dict(text.unit or {}),
        number=text.answer,
        tolerance=text.tolerance,
    )


def _options(text: QuestionText, question: Question) -> list[Option]:
    """Of an order the position is the place that is right, whatever order the file has them in."""
    in_order = sorted(text.options, key=lambda option: option.place or 0)
    return [
        Option(
            question=question,
            position=place,
            key=option.key,
            text=dict(option.text),
            match=dict(option.match or {}),
            right=option.right,
        )
        for place, option in enumerate(in_order, start=1)
    ]
