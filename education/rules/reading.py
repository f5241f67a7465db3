"""How hard is a text to read, which sentences are long, and which words are hard?

The goals are a grade that the programme sets (6 unless it says otherwise), and no sentence of more
than 20 words. A grade belongs to a text, not to a sentence: the formula is an average, and over a
dozen words it says more about one long word than about the reader. It holds for English; Spanish
has formulas of its own, which give no grade.
"""

import re
from collections.abc import Iterable
from dataclasses import dataclass

from education.rules.grades import (
    INFLESZ_GOAL,
    TextCounts,
    fernandez_huerta,
    flesch_ease,
    flesch_kincaid,
    smog,
    szigriszt_pazos,
)
from education.rules.syllables import is_hard, known, syllables

MAX_SENTENCE_WORDS = 20
GRADE_GOAL = 6
FAR_OVER = 2  # grades over the goal from which the warning is a strong one
MIN_GRADED_WORDS = 20
"""A shorter text gets no grade of its own; its words count in the grade of its group."""
LONG_WORD = 3  # syllables

_WORD = re.compile(r"\w+(?:[.,'’/-]\w+)*")
_SENTENCE_END = re.compile(r"(?<=[.!?…])[\"'’”»)]*(\s+)")
_LIST_MARK = re.compile(r"^\s*(?:[-*+]|\d+[.)]|#{1,6}|>)\s+")
_PARAGRAPH_BREAK = re.compile(r"\n\s*\n")
_LINK = re.compile(r"!?\[([^\]]*)\]\([^)]*\)")


@dataclass(frozen=True)
class Piece:
    """A stretch of a sentence; `syllables` is 0 unless it is a hard word."""

    text: str
    syllables: int = 0


@dataclass(frozen=True)
class Sentence:
    """A sentence in pieces, so that its hard words can be marked where they stand."""

    text: str
    words: int
    pieces: tuple[Piece, ...]

    @property
    def long(self) -> bool:
        """Whether it has more words than anybody should have to read in one breath."""
        return self.words > MAX_SENTENCE_WORDS


Block = tuple[Sentence, ...]
"""A paragraph, a heading, a list item or a button: no sentence runs over its end."""


@dataclass(frozen=True)
class Readings:
    """What was found in one text.

    `grade` (Flesch-Kincaid), `ease` (Flesch) and `smog` are of English; `huerta` (Fernández Huerta)
    and `perspicuity` (Szigriszt Pazos, INFLESZ) of Spanish. None: not of this language, or fewer
    than 20 words in sentences; `smog` also below 30 sentences. `goal` is the grade to stay within.
    """

    language: str
    goal: float
    words: int
    sentences: int
    blocks: tuple[Block, ...]
    grade: float | None = None
    ease: float | None = None
    smog: float | None = None
    huerta: float | None = None
    perspicuity: float | None = None

    @property
    def long_sentences(self) -> tuple[Sentence, ...]:
        """The sentences of more than 20 words, in reading order."""
        return tuple(s for block in self.blocks for s in block if s.long)

    @property
    def hard_words(self) -> tuple[tuple[str, int], ...]:
        """The hard words in small letters, each once, with its syllables; longest first."""
        found = {
            piece.text.lower(): piece.syllables
            for block in self.blocks
            for sentence in block
            for piece in sentence.pieces
            if piece.syllables
        }
        return tuple(sorted(found.items(), key=lambda item: (-item[1], item[0])))

    @property
    def hard(self) -> bool:
        """Whether the whole is harder than the goal: its grade, or below "fairly easy" INFLESZ."""
        if self.grade is not None:
            return self.grade > self.goal
        return self.perspicuity is not None and self.perspicuity < INFLESZ_GOAL

    @property
    def much_too_hard(self) -> bool:
        """Whether an English text is more than two grades over the goal."""
        return self.grade is not None and self.grade > self.goal + FAR_OVER


def readings(text: str, language: str, *, goal: float = GRADE_GOAL) -> Readings:
    """Measure a text in Markdown, as somebody writes it. Never raises for a text; "" reads as 0."""
    return readings_of(markdown_blocks(text), language, goal=goal)


def readings_of(blocks: Iterable[str], language: str, *, goal: float = GRADE_GOAL) -> Readings:
    """Measure a text that is cut into blocks already."""
    listed = tuple(blocks)
    cut = tuple(block for block in (_block(text, language) for text in listed) if block)
    found = Readings(
        language,
        goal,
        words=sum(sentence.words for block in cut for sentence in block),
        sentences=sum(len(block) for block in cut),
        blocks=cut,
    )
    if not known(language):
        return found
    counts = text_counts(listed, language)
    if counts.words < MIN_GRADED_WORDS:
        return found
    whole = vars(found)
    if language == "es":
        return Readings(
            **whole | {"huerta": fernandez_huerta(counts), "perspicuity": szigriszt_pazos(counts)}
        )
    scores = {
        "grade": flesch_kincaid(counts),
        "ease": flesch_ease(counts),
        "smog": smog(counts),
    }
    return Readings(**whole | scores)


def grade(blocks: Iterable[str]) -> float:
    """Return the Flesch-Kincaid grade of English blocks, however few; 0 without a sentence."""
    counts = text_counts(blocks, "en")
    return flesch_kincaid(counts) if counts.sentences else 0.0


def text_counts(blocks: Iterable[str], language: str) -> TextCounts:
    """Count what the formulas take.

    A block of one or two words (a button, a heading) is left out: it is no sentence that anybody
    reads, and would make the others look shorter.
    """
    running = [s for b in blocks if count_words(b) > 2 for s in sentences([b])]
    words = [word for sentence in running for word in _WORD.findall(sentence)]
    counted = [syllables(word, language) for word in words]
    return TextCounts(
        words=len(words),
        sentences=len(running),
        syllables=sum(counted),
        long_words=sum(one >= LONG_WORD for one in counted),
    )


def count_words(text: str) -> int:
    """Count words: 1,200 is one word, blood-pressure is one word, signs are none."""
    return len(_WORD.findall(text))


def sentences(blocks: Iterable[str]) -> list[str]:
    """Cut blocks into sentences; a closing quotation mark belongs to the sentence before it."""
    return [s for block in blocks for s in _cut(block) if count_words(s)]


def _cut(block: str) -> Iterable[str]:
    begun = 0
    for end in _SENTENCE_END.finditer(block):
        yield block[begun : end.start(1)]
        begun = end.end()
    yield block[begun:]


def markdown_blocks(text: str) -> tuple[str, ...]:
    """Cut Markdown into blocks, its marks taken off."""
    blocks: list[str] = []
    for paragraph in _PARAGRAPH_BREAK.split(text):
        open_block = False
        for line in filter(str.strip, paragraph.splitlines()):
            starts_item = bool(_LIST_MARK.match(line))
            words = _LINK.sub(r"\1", _LIST_MARK.sub("", line)).replace("**", "").strip()
            if open_block and not starts_item:
                blocks[-1] += f" {words}"
            else:
                blocks.append(words)
            open_block = True
    return tuple(blocks)


def _block(text: str, language: str) -> Block:
    return tuple(
        Sentence(sentence, count_words(sentence), _pieces(sentence, language))
        for sentence in sentences([text])
    )


def _pieces(sentence: str, language: str) -> tuple[Piece, ...]:
    pieces: list[Piece] = []
    done = 0
    for word in _WORD.finditer(sentence):
        if is_hard(word[0], language):
            if word.start() > done:
                pieces.append(Piece(sentence[done : word.start()]))
            pieces.append(Piece(word[0], syllables(word[0], language)))
            done = word.end()
    return (*pieces, Piece(sentence[done:])) if done < len(sentence) else tuple(pieces)
