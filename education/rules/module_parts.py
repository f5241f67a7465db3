"""What a module consists of, as it was written: values that nothing changes."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from decimal import Decimal

from education.rules.scoring import Kind
from patients.rules.languages import SOURCE_LANGUAGE

Words = Mapping[str, str]
"""One text in several languages: language code to text."""


def in_language(words: Words, language: str) -> str:
    """Return a text in a language, or in the one that it was written in."""
    return words.get(language) or words.get(SOURCE_LANGUAGE, "")


@dataclass(frozen=True)
class OptionText:
    """One option of a choice, one item to put in order, or one pair to match.

    An item has its `place` in the right order, from 1. A pair has in `match` what belongs to its
    `text`. `right` says of an option of a choice whether it is to be chosen.
    """

    key: str
    text: Words
    right: bool = False
    place: int | None = None
    match: Words | None = None


@dataclass(frozen=True)
class PictureText:
    """A picture, which stands where the body has `![](key)`.

    `alt` says in words what it shows, for who cannot see it; None: it is decoration, and says
    nothing.
    """

    key: str
    file: str
    alt: Words | None


@dataclass(frozen=True)
class VideoText:
    """A video below a section; `captions` names a file for each language, `transcript` is Markdown
    and says all that is heard and seen.
    """

    file: str
    captions: Words
    transcript: Words


@dataclass(frozen=True)
class SectionText:
    """One section of the teaching; `body` and the note "ask yourself", if any, are Markdown.

    `sources` tells staff where what it says comes from, in English; no patient reads it.
    """

    key: str
    heading: Words
    body: Words
    ask_yourself: Words | None = None
    sources: str = ""
    pictures: tuple[PictureText, ...] = ()
    video: VideoText | None = None


@dataclass(frozen=True)
class QuestionText:
    """One question.

    All kinds but the number have `options`. The kind number has `unit`, `answer` and `tolerance`
    instead: a typed number is right when it is at most `tolerance` away from `answer`, in that
    unit. `section` is the key of the section that explains it. `shuffle` shows the options of a
    choice in another order in each attempt; items and pairs always are. `teach_back` is what staff
    ask in a teach-back; None: a sentence made of the section's heading.

    `versions` are further wordings of the same question, of the same kind and the same mark: a
    retake asks another one. They have no versions of their own.
    """

    key: str
    kind: Kind
    safety_critical: bool
    section: str
    stem: Words
    explanation: Words
    options: tuple[OptionText, ...] = ()
    unit: Words | None = None
    answer: Decimal | None = None
    tolerance: Decimal | None = None
    shuffle: bool = False
    teach_back: Words | None = None
    versions: tuple["QuestionText", ...] = ()

    @property
    def every_version(self) -> tuple["QuestionText", ...]:
        """This question and its further versions, in the order of their numbers from 1."""
        return (self, *self.versions)


@dataclass(frozen=True)
class ModuleText:
    """A module as written: `pass_mark` is the share of questions right, in per cent."""

    code: str
    pass_mark: int
    title: Words
    sections: tuple[SectionText, ...]
    questions: tuple[QuestionText, ...]


def languages_complete(module: ModuleText) -> tuple[str, ...]:
    """The languages in which every text of the module is there, the title's language order kept."""
    texts = list(_texts(module))
    return tuple(
        language
        for language in module.title
        if all(words.get(language, "").strip() for words in texts)
    )


def asked_words(question: QuestionText) -> Iterator[Words]:
    """What the patient reads on a question's page, of one version: stem, options, unit."""
    yield question.stem
    for option in question.options:
        yield option.text
        if option.match is not None:
            yield option.match
    if question.unit is not None:
        yield question.unit


def _texts(module: ModuleText) -> Iterator[Words]:
    yield module.title
    for section in module.sections:
        yield section.heading
        yield section.body
        if section.ask_yourself is not None:
            yield section.ask_yourself
        yield from (picture.alt for picture in section.pictures if picture.alt is not None)
        if section.video is not None:
            yield section.video.captions
            yield section.video.transcript
    for question in module.questions:
        for version in question.every_version:
            yield from asked_words(version)
            yield version.explanation
            if version.teach_back is not None:
                yield version.teach_back
