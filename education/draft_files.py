"""Change the pictures and the video of a draft: returns what the whole says then."""

from copy import deepcopy
from typing import Any

from education.draft_parts import find, new_key
from education.rules.picture_marks import with_picture as marked
from education.rules.picture_marks import without_picture as unmarked
from patients.rules.languages import SOURCE_LANGUAGE

Record = dict[str, Any]


def picture_of(section: Record, key: str) -> Record | None:
    """Return the picture of a section with this key, or None."""
    return next((one for one in section.get("picture", []) if one["key"] == key), None)


def with_picture(content: Record, section_key: str, key: str, picture: Record) -> Record:
    """Put a picture in place of the one with this key.

    Of a key that there is not yet: behind the others, and below the text in each language that the
    section is written in.
    """
    changed = deepcopy(content)
    section = find(changed, "section", section_key)
    assert section is not None  # the page was that of a section
    pictures: list[Record] = section.setdefault("picture", [])
    for place, one in enumerate(pictures):
        if one["key"] == key:
            pictures[place] = {"key": key, **picture}
            return changed
    alt = picture.get("alt", {}).get(SOURCE_LANGUAGE, "")
    made = new_key(alt, {one["key"] for one in pictures}, f"picture-{len(pictures) + 1}")
    pictures.append({"key": made, **picture})
    section["body"] = {
        code: marked(text, made) if text or code == SOURCE_LANGUAGE else text
        for code, text in section["body"].items()
    }
    return changed


def without_picture(content: Record, section_key: str, key: str) -> Record:
    """Take a picture out of a section, and out of its text."""
    changed = deepcopy(content)
    section = find(changed, "section", section_key)
    assert section is not None  # the page was that of a section
    section["picture"] = [one for one in section.get("picture", []) if one["key"] != key]
    if not section["picture"]:
        del section["picture"]
    section["body"] = {code: unmarked(text, key) for code, text in section["body"].items()}
    return changed


def with_video(content: Record, section_key: str, video: Record) -> Record:
    """Say which video a section has; an empty record takes it out."""
    changed = deepcopy(content)
    section = find(changed, "section", section_key)
    assert section is not None  # the page was that of a section
    section.pop("video", None)
    if video:
        section["video"] = video
    return changed
