"""What is said of how a text reads, in plain words; a warning, never a refusal."""

from dataclasses import dataclass

from education.readability import over_goal
from education.rules.grades import SMOG_SENTENCES, inflesz
from education.rules.reading import MAX_SENTENCE_WORDS, MIN_GRADED_WORDS, Readings
from education.rules.syllables import known
from patients.rules.languages import name_of


@dataclass(frozen=True)
class ReadText:
    """One text for templates/clinic/_reads.html: what was found in it, and that in words."""

    name: str
    key: str
    readings: Readings
    verdict: str
    scores: list[str]
    over: bool


def in_words(found: Readings, *, name: str = "", key: str = "") -> ReadText:
    """Return what was found in a text with what is said of it; `key` is its anchor on the page."""
    over = over_goal(found) or found.hard
    return ReadText(name, key, found, verdict(found), scores(found), over)


def verdict(found: Readings) -> str:
    """Return the one thing that matters first."""
    if not found.words:
        return "There is nothing to read yet."
    said = [_hardness(found)]
    long = len(found.long_sentences)
    if long:
        which = "1 sentence is" if long == 1 else f"{long} sentences are"
        said.append(f"{which} longer than {MAX_SENTENCE_WORDS} words: cut each in two.")
    return " ".join(filter(None, said))


def scores(found: Readings) -> list[str]:
    """Return the scores with their names, those that the language has."""
    said = [f"{found.words} words in {found.sentences} sentences"]
    if found.grade is not None and found.ease is not None:
        said.append(f"Flesch-Kincaid grade {found.grade:.1f}")
        said.append(f"Flesch reading ease {found.ease:.0f} (0 hard, 100 easy)")
        said.append(_smog(found))
    if found.huerta is not None and found.perspicuity is not None:
        said.append(f"Fernández Huerta {found.huerta:.0f} (0 hard, 100 easy)")
        band = inflesz(found.perspicuity)
        said.append(f"Szigriszt Pazos {found.perspicuity:.1f}, on the INFLESZ scale “{band}”")
    return said


def _hardness(found: Readings) -> str:
    if found.grade is not None:
        if found.much_too_hard:
            return (
                f"Much too hard: grade {found.grade:.1f}, and the programme asks for "
                f"{found.goal:g}. Use shorter words and shorter sentences."
            )
        if found.hard:
            return (
                f"Harder than it should be: grade {found.grade:.1f}, and the programme asks for "
                f"{found.goal:g}."
            )
        return (
            f"Within the goal: grade {found.grade:.1f}, and the programme asks for {found.goal:g}."
        )
    if found.perspicuity is not None:
        band = inflesz(found.perspicuity)
        if found.hard:
            return f"Harder than it should be: “{band}” on the INFLESZ scale."
        return f"“{band[0].upper()}{band[1:]}” on the INFLESZ scale."
    if not known(found.language):
        return f"No formula for {name_of(found.language)} is known here: no grade."
    if found.words < MIN_GRADED_WORDS:
        return f"Fewer than {MIN_GRADED_WORDS} words have no grade of their own."
    return f"No grade: fewer than {MIN_GRADED_WORDS} words stand in sentences."


def _smog(found: Readings) -> str:
    if found.smog is None:
        return f"SMOG: not with fewer than {SMOG_SENTENCES} sentences"
    return f"SMOG grade {found.smog:.1f} (stricter: made for understanding all of it)"
