"""What is wrong with a draft, in the words of the page where it is put right.

The problems themselves speak of a module's file, where a field has a name and a number is quoted.
"""

import re
from collections.abc import Callable

Say = Callable[[re.Match[str]], str]


def _always(words: str) -> Say:
    return lambda found: words


_WORDS: tuple[tuple[re.Pattern[str], Say], ...] = tuple(
    (re.compile(pattern), say)
    for pattern, say in (
        (r'"alt" .*', _always("Say what the picture shows, or mark it as decoration.")),
        (r'"captions" .*', _always("There are no captions in this language yet.")),
        (r'"transcript" .*', _always("There is no transcript in this language yet.")),
        (r'"file" is missing .*', _always("There is no file yet.")),
        (
            r'the picture "(.+)" stands (nowhere|more than once) in .*',
            lambda f: f"The picture “{f[1]}” stands {f[2]} in this text: write ![]({f[1]}) once.",
        ),
        (r'a picture stands in "body" alone\.', _always("A picture stands in the text alone.")),
        (
            r'there is no picture "(.+)", .*',
            lambda f: f"There is no picture “{f[1]}” in this section: add it, or take it out.",
        ),
        (r'"\w+" in "\w+" is empty or no text\.', _always("Nothing is written here yet.")),
        (r'"\w+" has no text in "\w+"\.', _always("Nothing is written here yet.")),
        (r'"section" .*', _always("Choose the section that explains it.")),
        (r'"place" .*', _always("Type the place that is right, from 1 on.")),
        (
            r'"(?:answer|tolerance)" must be a number .*',
            _always("Type a number, such as 64 or 1.5."),
        ),
        (r'"tolerance" must not .*', _always("This cannot be less than 0.")),
        (r'"(?:answer|tolerance)" must be below .*', _always("At most 3 decimals fit here.")),
        (r'"unit" is another one .*', _always("The English and the Spanish are two units.")),
        (r'"pass_mark" is .*', _always("Nobody can get more than 100 per cent right.")),
        (r'"pass_mark" must .*', _always("Type a whole number from 1 to 100.")),
        (r"no option is right\.", _always("No answer is marked as right.")),
        (
            r"(\d+) options are right; .*",
            lambda f: f"{f[1]} answers are marked as right; mark one.",
        ),
        (r"one option leaves .*", _always("Write at least two answers.")),
        (r'there is no "\[\[section\]\]"\.', _always("Write at least one section.")),
        (r'there is no "\[\[question\]\]"\.', _always("Write at least one question.")),
        (r'there is no "\[\[option\]\]"\.', _always("Write at least two answers.")),
        (r'there is no "\[\[item\]\]"\.', _always("Write at least three lines.")),
        (r'there is no "\[\[pair\]\]"\.', _always("Write at least three pairs.")),
        (
            r"there are (\d+) (items|pairs); .*",
            lambda f: f"There are {f[1]} {f[2]}; write 3 or more.",
        ),
    )
)


def plain(message: str) -> str:
    """Return a problem in the editor's words, or as it is where it needs no others."""
    for pattern, say in _WORDS:
        found = pattern.fullmatch(message)
        if found:
            return say(found)
    return message[:1].upper() + message[1:]
