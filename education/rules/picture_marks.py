"""Where do the pictures of a section stand in its text?

In the Markdown of a section `![](cup)` is the place of its picture "cup". The words for people who
cannot see it belong to the picture, not to the place.
"""

import re

_MARK = re.compile(r"!\[[^\]\n]*\]\(\s*<?([^)>\s]+)>?[^)\n]*\)")
_GAP = re.compile(r"\n{3,}")


def placed(text: str) -> tuple[str, ...]:
    """Return the keys of the pictures that stand in a text, in reading order."""
    return tuple(_MARK.findall(text))


def with_picture(text: str, key: str) -> str:
    """Put a picture below a text, unless it stands in it already."""
    return text if key in placed(text) else f"{text.rstrip()}\n\n![]({key})".lstrip()


def without_picture(text: str, key: str) -> str:
    """Take a picture out of a text."""
    left = _MARK.sub(lambda found: "" if found[1] == key else found[0], text)
    return _GAP.sub("\n\n", left).strip()


def without_pictures(text: str) -> str:
    """Return the words of a text alone."""
    return _GAP.sub("\n\n", _MARK.sub("", text)).strip()
