"""The words for what another date or booking of an operation would do, module by module."""

from collections.abc import Mapping

from clinic import answer_words
from clinic.day_words import day
from clinic.moving import Fate, Preview
from clinic.words import STANDING
from education.foresee import Foreseen
from education.rules.short_notice import Notice
from education.rules.standing import Reason, Standing

NOTICE: Mapping[Notice, str] = {
    Notice.DAY_PASSED: "This day has passed.",
    Notice.CLEAR_BY_PASSED: "A clear-by date for this day has passed already.",
    Notice.INSIDE_NOTICE: "This is short notice: a clear-by date is so near that the programme "
    "would warn about it today.",
}


def sentences(preview: Preview, titles: Mapping[int, str]) -> list[str]:
    """Return what would change, one sentence for each module and link; those that stay are out."""
    said = [
        f"{titles.get(line.assignment.module_id, line.assignment.module.code)}: {words}"
        for line in preview.lines
        for words in (standing_words(line), _fate_words(line, preview))
        if words
    ]
    return said or ["Nothing would change for the modules."]


def standing_words(line: Foreseen) -> str:
    """Return how the standing would change, empty when it stays."""
    if line.then is None:
        return "would no longer be asked for." if line.now else ""
    then = line.then.answer
    why = answer_words.reasons(then, line.told)
    if line.now is None:
        return f"would be asked for, and be {STANDING[then.standing]}: {why}."
    if line.now.standing == then.standing:
        return ""
    words = f"would turn from {STANDING[line.now.standing]} to {STANDING[then.standing]}"
    return f"{words}. {lost_words(line) or why.capitalize() + '.'}"


def lost_words(line: Foreseen) -> str:
    """Return why the clearance that counts now would not, with its day; empty if that is not so."""
    if line.then is None or line.then.window is None or line.now is None:
        return ""
    cleared_on, window = line.now.cleared_on, line.then.window
    if line.now.standing not in (Standing.CLEARED, Standing.NEEDS_SIGN_OFF) or cleared_on is None:
        return ""
    if Reason.CLEARANCE_TOO_OLD in line.then.answer.reasons:
        return (
            f"The clearance of {day(cleared_on)} would be too old: "
            f"the window would open on {day(window.opens_on)}."
        )
    if cleared_on > window.clear_by:
        return (
            f"The clearance of {day(cleared_on)} would come after the clear-by date, "
            f"{day(window.clear_by)}."
        )
    return ""


def _fate_words(line: Foreseen, preview: Preview) -> str:
    fate = preview.fates.get(line.assignment.pk)
    if fate is None:
        return ""
    if fate == Fate.LINK_TOO_EARLY and line.then and line.then.window:
        return (
            "the link that was sent stays open, and a quiz passed before "
            f"{day(line.then.window.opens_on)} would be too old."
        )
    return FATE[fate]


FATE: Mapping[Fate, str] = {
    Fate.EMAIL_WITHDRAWN: "the email with the link, which waits to go out, would be withdrawn.",
    Fate.EMAIL_GOES_OUT: "the email with the link, which waits to go out, would still go out.",
    Fate.LINK_DIES: "the link that was sent would stop working.",
    Fate.LINK_WORKS_AGAIN: "the link that was sent would work again.",
    Fate.LINK_TOO_EARLY: "the link that was sent stays open.",
}
