"""The pictures and the video of a section in one language, ready for a page."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from django.utils.safestring import SafeString

from education.markdown import ShownPicture, to_html
from education.models import TeachingFile
from education.picture_intake import SMALL
from education.rules.module_parts import in_language
from education.teaching_files import address, content_type
from patients.rules.languages import own_name_of

Record = Mapping[str, Any]


@dataclass(frozen=True)
class ShownCaptions:
    """Captions in one language: its code, and what it calls itself."""

    src: str
    language: str
    label: str


@dataclass(frozen=True)
class ShownVideo:
    """A video: where it lies, how large it is in bytes, its captions, and all it says as text.

    The captions in the page's language come first.
    """

    src: str
    content_type: str
    size: int
    captions: tuple[ShownCaptions, ...]
    transcript: SafeString

    @property
    def megabytes(self) -> str:
        """Its size, for who pays for what a phone loads."""
        size = self.size / 1_000_000
        return f"{size:.0f}" if size >= 10 else f"{max(size, 0.1):.1f}"


Kept = Mapping[str, TeachingFile]


def kept_files(sections: Iterable[tuple[Iterable[Record], Record]]) -> Kept:
    """Return the files that sections show, by name; asks nothing where no section has any."""
    names = {
        str(one["file"])
        for pictures, video in sections
        for one in (*pictures, *([video] if video else []))
    }
    found = TeachingFile.objects.filter(name__in=names) if names else ()
    return {row.name: row for row in found}


def shown_pictures(
    pictures: Iterable[Record], kept: Kept, language: str
) -> tuple[ShownPicture, ...]:
    """Return the pictures of a section."""
    return tuple(
        ShownPicture(
            key=one["key"],
            src=address(file.name),
            small=address(file.name, small=True),
            small_width=min(SMALL, file.width or SMALL),
            alt=in_language(one.get("alt") or {}, language),
            width=file.width or SMALL,
            height=file.height or SMALL,
        )
        for one in pictures
        if (file := kept.get(one["file"])) is not None
    )


def shown_video(video: Record, kept: Kept, language: str) -> ShownVideo | None:
    """Return the video of a section, or None if it has none."""
    file = kept.get(video["file"]) if video else None
    if file is None:
        return None
    captions = sorted(video["captions"].items(), key=lambda one: (one[0] != language, one[0]))
    return ShownVideo(
        src=address(file.name),
        content_type=content_type(file.name),
        size=file.size,
        captions=tuple(
            ShownCaptions(address(name), code, own_name_of(code)) for code, name in captions if name
        ),
        transcript=to_html(in_language(video["transcript"], language)),
    )
