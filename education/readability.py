"""How hard a text is to read: its sentences, and its grade where textstat is installed.

The goals are promise W9: no sentence over 20 words, and a Flesch-Kincaid grade of 6 or lower for
English. A grade belongs to a text, not to a sentence: the formula is an average, and over a dozen
words it says more about one long word than about the reader (standards.md, lesson of section 3.2).
Sentence lengths are counted in every language; the grade formula holds for English only.
"""

import html
import re
from collections.abc import Iterable
from dataclasses import dataclass
from html.parser import HTMLParser

from django.template.base import Lexer, Token, TokenType

from education.rules.module_text import ModuleText, SectionText

try:
    from textstat import flesch_kincaid_grade
except ImportError:  # textstat is installed for tests only
    flesch_kincaid_grade = None

MAX_SENTENCE_WORDS = 20
MAX_GRADE = 6.0
MIN_GRADED_WORDS = 20
"""A shorter text gets no grade of its own; its words count in the grade of its group."""

MISSING_TEXTSTAT = "Cannot grade: textstat is missing. Install it: pip install textstat==0.7.8"

_WORD = re.compile(r"\w+(?:[.,'’/-]\w+)*")
_SENTENCE_END = re.compile(r"(?<=[.!?…])[\"'’”»)]*\s+")
_LIST_MARK = re.compile(r"^\s*(?:[-*+]|\d+[.)]|#{1,6}|>)\s+")
_TRANSLATED = re.compile(r"""^(?:trans|translate)\s+("[^"]*"|'[^']*')(.*)$""", re.DOTALL)
_FORMAT = re.compile(r"%\(\w+\)[sd]|%[sd]|\{\w*\}")
_PARAGRAPH_BREAK = re.compile(r"\n\s*\n")
_INLINE_TAGS = frozenset({"a", "abbr", "b", "bdi", "em", "i", "mark", "span", "strong", "time"})
_UNREAD_TAGS = frozenset({"script", "style", "svg", "template"})
_BREAK = "\n\n"
_PLACEHOLDER = "it"
"""What a value filled in later counts as: one word of one syllable."""


@dataclass(frozen=True)
class Passage:
    """One text as a reader meets it: its name, language, and blocks of running words.

    A block is a paragraph, a heading, a list item or a button: no sentence runs over its end.
    """

    name: str
    language: str
    blocks: tuple[str, ...]


@dataclass(frozen=True)
class Reading:
    """What was found: the number of words, the grade (None if not graded), the long sentences."""

    name: str
    language: str
    words: int
    grade: float | None
    long_sentences: tuple[str, ...]

    @property
    def over_goal(self) -> bool:
        """Whether the text misses a goal of promise W9."""
        return bool(self.long_sentences) or (self.grade is not None and self.grade > MAX_GRADE)


def can_grade() -> bool:
    """Return whether textstat is installed."""
    return flesch_kincaid_grade is not None


def read(passage: Passage) -> Reading:
    """Measure one text."""
    words = sum(count_words(block) for block in passage.blocks)
    graded = can_grade() and passage.language == "en" and words >= MIN_GRADED_WORDS
    return Reading(
        name=passage.name,
        language=passage.language,
        words=words,
        grade=grade(passage.blocks) if graded else None,
        long_sentences=tuple(
            sentence
            for sentence in sentences(passage.blocks)
            if count_words(sentence) > MAX_SENTENCE_WORDS
        ),
    )


def together(name: str, passages: Iterable[Passage]) -> Passage:
    """Join English texts into one, to be graded as a whole."""
    blocks = tuple(b for passage in passages if passage.language == "en" for b in passage.blocks)
    return Passage(name, "en", blocks)


def grade(blocks: Iterable[str]) -> float:
    """Flesch-Kincaid grade of English text, by textstat.

    A block of one or two words (a button, a heading) is left out: textstat counts its words but
    not its sentence, so they would be spread over the sentences that are there.
    """
    if flesch_kincaid_grade is None:
        raise LookupError(MISSING_TEXTSTAT)
    running = [block.rstrip(" :;,") for block in blocks if count_words(block) > 2]
    ended = (block if block.endswith((".", "!", "?")) else f"{block}." for block in running)
    text = " ".join(ended)
    return float(flesch_kincaid_grade(text)) if text else 0.0


def count_words(text: str) -> int:
    """Count words: 1,200 is one word, blood-pressure is one word, signs are none."""
    return len(_WORD.findall(text))


def sentences(blocks: Iterable[str]) -> list[str]:
    """Cut blocks into sentences."""
    return [s for block in blocks for s in _SENTENCE_END.split(block) if count_words(s)]


def markdown_blocks(text: str) -> tuple[str, ...]:
    """Cut the Markdown of a section into blocks, marks taken off."""
    blocks: list[str] = []
    for paragraph in _PARAGRAPH_BREAK.split(text):
        open_block = False
        for line in filter(str.strip, paragraph.splitlines()):
            starts_item = bool(_LIST_MARK.match(line))
            words = _LIST_MARK.sub("", line).replace("**", "").strip()
            if open_block and not starts_item:
                blocks[-1] += f" {words}"
            else:
                blocks.append(words)
            open_block = True
    return tuple(blocks)


def module_passages(module: ModuleText, language: str) -> list[Passage]:
    """The texts of a module in one language: each section, each question, each explanation."""
    passages = [
        Passage(f"{module.code}: {section.key}", language, _section_blocks(section, language))
        for section in module.sections
    ]
    for question in module.questions:
        asked = (question.stem[language], *(option.text[language] for option in question.options))
        passages.append(Passage(f"{module.code}: question {question.key}", language, asked))
        explained = (question.explanation[language],)
        passages.append(Passage(f"{module.code}: explanation {question.key}", language, explained))
    return passages


def _section_blocks(section: SectionText, language: str) -> tuple[str, ...]:
    return (section.heading[language], *markdown_blocks(section.body[language]))


def template_blocks(source: str) -> tuple[str, ...]:
    """Cut a template into the blocks a reader meets, without rendering it.

    Translated texts stay in place, a value filled in later counts as one short word, and every
    branch of a condition is taken. Attributes are not read.
    """
    page = _PageText()
    page.feed(_without_template_tags(source))
    page.close()
    cut = (" ".join(block.split()) for block in _PARAGRAPH_BREAK.split("".join(page.pieces)))
    return tuple(block for block in cut if count_words(block))


def message_blocks(messages: Iterable[str | Iterable[str]]) -> tuple[str, ...]:
    """Cut the messages of a catalogue (a text, or its singular and plural) into blocks."""
    texts: list[str] = []
    for message in messages:
        texts += [message] if isinstance(message, str) else list(message)
    filled = (_FORMAT.sub(_PLACEHOLDER, text) for text in texts)
    return tuple(block for text in filled for block in template_blocks(text))


def _without_template_tags(source: str) -> str:
    words: list[str] = []
    in_comment = False
    for token in Lexer(source).tokenize():
        if token.token_type is TokenType.BLOCK and token.contents in {"comment", "endcomment"}:
            in_comment = token.contents == "comment"
        elif not in_comment:
            words.append(_token_words(token))
    return "".join(words)


def _token_words(token: Token) -> str:
    """What a reader would see of one piece of a template."""
    if token.token_type is TokenType.TEXT:
        return token.contents
    if token.token_type is TokenType.VAR:
        return _PLACEHOLDER
    if token.token_type is TokenType.COMMENT:
        return ""
    translated = _TRANSLATED.match(token.contents)
    if translated is None:
        # The plural form of a text is another text, not more of the same.
        return _BREAK if token.contents == "plural" else ""
    text = html.escape(translated[1][1:-1])
    # With "as name" the text is shown elsewhere: a block of its own here.
    return f"{_BREAK}{text}{_BREAK}" if re.search(r"\sas\s", translated[2]) else text


class _PageText(HTMLParser):
    """Collects the words of a page; a block element breaks the text, an inline one does not."""

    def __init__(self) -> None:
        super().__init__(convert_charrefs=True)
        self.pieces: list[str] = []
        self._unread = 0

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self._unread += tag in _UNREAD_TAGS
        self._break_unless_inline(tag)

    def handle_endtag(self, tag: str) -> None:
        self._unread -= tag in _UNREAD_TAGS
        self._break_unless_inline(tag)

    def handle_data(self, data: str) -> None:
        if not self._unread:
            self.pieces.append(data)

    def _break_unless_inline(self, tag: str) -> None:
        if tag not in _INLINE_TAGS:
            self.pieces.append(_BREAK)
