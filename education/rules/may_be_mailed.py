"""May an email's words go out: what would tell others too much, and what is too long?

An email is seen by others than its reader: on a locked phone, in a shared mailbox, over a shoulder.
So its subject and its first words say nothing about health (promise W10). Our own list of words,
English and Spanish; a word is found by its beginning.
"""

import re
from dataclasses import dataclass
from enum import StrEnum

from education.rules.reading import MAX_SENTENCE_WORDS, count_words, sentences

MOST_WORDS = 120  # of the whole email, the link apart
PREVIEW = 200  # characters that a mailbox may show beside the subject
LONGEST_SUBJECT = 78  # RFC 5322, section 2.1.1, for a whole line
BEGINNINGS = [
    "operat",
    "surg",
    "weight",
    "bariatr",
    "diet",
    "nutri",
    "clinic",
    "hospital",
    "patient",
    "medic",
    "health",
    "quiz",
    "liver",
    "stomach",
    "obes",
    "doctor",
    "nurse",
    "liquid",
    "fasting",
    "insulin",
    "diabet",
    "operac",
    "ciru",
    "peso",
    "dieta",
    "líquid",
    "paciente",
    "clínic",
    "salud",
    "médic",
    "hígado",
    "estómago",
    "enferm",
    "ayun",
    "cuestionario",
]
_HEALTH = re.compile(rf"\b(?:{'|'.join(BEGINNINGS)})\w*", re.IGNORECASE)
_ADDRESS = re.compile(r"(?:https?://|www\.|\w\.(?:com|org|net)\b|@)\S*", re.IGNORECASE)
_LEFT_OPEN = re.compile(r"[{}<>]|\[\w+\]")


class Fault(StrEnum):
    EMPTY = "empty"
    HEALTH_WORD = "health_word"
    ANOTHER_ADDRESS = "another_address"  # one link: the one that is protected
    MARKUP = "markup"
    SUBJECT_TOO_LONG = "subject_too_long"
    TOO_MANY_WORDS = "too_many_words"
    LONG_SENTENCE = "long_sentence"


class Part(StrEnum):
    SUBJECT = "subject"
    BEFORE = "before"
    AFTER = "after"


@dataclass(frozen=True)
class Objection:
    """What is wrong with a part of an email, and the words that it is about."""

    part: Part
    fault: Fault
    words: str = ""


def objections(subject: str, before: str, after: str, *, whole: str) -> list[Objection]:
    """Return everything that speaks against an email; `whole`: its text as it would go out."""
    texts = {Part.SUBJECT: subject, Part.BEFORE: before, Part.AFTER: after}
    found = []
    for part, text in texts.items():
        if part != Part.AFTER and not text.strip():
            found.append(Objection(part, Fault.EMPTY))
        for pattern, fault in ((_ADDRESS, Fault.ANOTHER_ADDRESS), (_LEFT_OPEN, Fault.MARKUP)):
            hit = pattern.search(text)
            if hit:
                found.append(Objection(part, fault, hit[0]))
        found += [
            Objection(part, Fault.LONG_SENTENCE, sentence)
            for sentence in sentences(text.split("\n\n"))
            if part != Part.SUBJECT and count_words(sentence) > MAX_SENTENCE_WORDS
        ]
    preview = " ".join(before.split())[:PREVIEW]
    for part, seen in ((Part.SUBJECT, subject), (Part.BEFORE, preview)):
        found += [Objection(part, Fault.HEALTH_WORD, hit[0]) for hit in _HEALTH.finditer(seen)]
    if len(subject) > LONGEST_SUBJECT or "\n" in subject.strip() or "\r" in subject.strip():
        found.append(Objection(Part.SUBJECT, Fault.SUBJECT_TOO_LONG))
    words = len(_ADDRESS.sub("", whole).split())
    if words > MOST_WORDS:
        found.append(Objection(Part.AFTER, Fault.TOO_MANY_WORDS, str(words)))
    return found
