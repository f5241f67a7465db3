"""The texts that patients read, each by its name and language, and how hard they are (promise W9).

How a text is measured is `education.rules.reading`; here is what there is to measure.
"""

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass

from education.models import Edition, Question
from education.rules.module_parts import ModuleText, asked_words
from education.rules.reading import (
    GRADE_GOAL,
    Readings,
    markdown_blocks,
    readings_of,
)


@dataclass(frozen=True)
class Passage:
    """One text as a reader meets it: its name, language, and blocks of running words.

    A block is a paragraph, a heading, a list item or a button: no sentence runs over its end. By
    its `key` a page that shows the text can be linked to.
    """

    name: str
    language: str
    blocks: tuple[str, ...]
    key: str = ""


def read(passage: Passage, *, goal: float = GRADE_GOAL) -> Readings:
    """Measure one text."""
    return readings_of(passage.blocks, passage.language, goal=goal)


def over_goal(found: Readings) -> bool:
    """Whether a text misses a goal of promise W9: a sentence too long, or English too hard."""
    return bool(found.long_sentences) or (found.grade is not None and found.hard)


def together(name: str, passages: Iterable[Passage], language: str = "en") -> Passage:
    """Join the texts of one language into one, to be measured as a whole."""
    blocks = (b for passage in passages if passage.language == language for b in passage.blocks)
    return Passage(name, language, tuple(blocks))


def module_passages(module: ModuleText, language: str) -> list[Passage]:
    """The texts of a module in one language: each section and question, with what is explained
    and asked in a teach-back.
    """
    passages = [
        Passage(
            f"{module.code}: {section.key}",
            language,
            _section_blocks(section.heading, section.body, section.ask_yourself, language)
            + _beside(
                [picture.alt for picture in section.pictures],
                section.video.transcript if section.video else None,
                language,
            ),
        )
        for section in module.sections
    ]
    for question in module.questions:
        for number, version in enumerate(question.every_version, start=1):
            name = question.key if number == 1 else f"{question.key}.{number}"
            asked = tuple(words[language] for words in asked_words(version))
            passages.append(Passage(f"{module.code}: question {name}", language, asked))
            explained = (version.explanation[language],)
            passages.append(Passage(f"{module.code}: explanation {name}", language, explained))
            if version.teach_back and (number == 1 or version.teach_back != question.teach_back):
                said = (version.teach_back[language],)
                passages.append(Passage(f"{module.code}: teach-back {name}", language, said))
    return passages


def _section_blocks(
    heading: Mapping[str, str],
    body: Mapping[str, str],
    ask_yourself: Mapping[str, str] | None,
    language: str,
) -> tuple[str, ...]:
    note = markdown_blocks(ask_yourself[language]) if ask_yourself else ()
    return (heading[language], *markdown_blocks(body[language]), *note)


def _beside(
    alts: Iterable[Mapping[str, str] | None], transcript: Mapping[str, str] | None, language: str
) -> tuple[str, ...]:
    """What is read aloud in place of pictures, and what a video says."""
    said = tuple(alt[language] for alt in alts if alt)
    return said + (markdown_blocks(transcript[language]) if transcript else ())


def edition_passages(edition: Edition, language: str) -> list[Passage]:
    """The texts of a published edition in one of its languages, in the order they are read."""
    passages = [
        Passage(
            f"Section “{section.heading[language]}”",
            language,
            _section_blocks(section.heading, section.body, section.ask_yourself, language)
            + _beside(
                [one.get("alt") for one in section.pictures],
                section.video.get("transcript"),
                language,
            ),
            f"section-{section.key}",
        )
        for section in edition.sections.all()
    ]
    for question in edition.questions.prefetch_related("options"):
        passages += _question_passages(question, language)
    return passages


def _question_passages(question: Question, language: str) -> Iterator[Passage]:
    asked = [question.stem]
    for option in question.options.all():
        asked += [option.text, option.match] if option.match else [option.text]
    asked += [question.unit] if question.unit else []
    number = str(question.position)
    if question.version > 1:
        number += f", version {question.version}"
    words = tuple(text[language] for text in asked)
    yield Passage(f"Question {number}", language, words, f"question-{question.name}")
    explained = (question.explanation[language],)
    key = f"explanation-{question.name}"
    yield Passage(f"Explanation of question {number}", language, explained, key)
    if question.teach_back:
        said = (question.teach_back[language],)
        key = f"teach-back-{question.name}"
        yield Passage(f"Teach-back of question {number}", language, said, key)
