"""What an edition keeps of a section's pictures and video, and whether their files are there."""

from collections.abc import Iterable
from typing import Any

from education.models import TeachingFile
from education.rules.module_parts import ModuleText, SectionText

Record = dict[str, Any]


class FileNotKept(ValueError):
    """A section names a file that is not among those that are kept."""


def files_named(sections: Iterable[SectionText]) -> set[str]:
    """Return the names of all files that sections show."""
    named: set[str] = set()
    for section in sections:
        named |= {picture.file for picture in section.pictures}
        if section.video is not None:
            named |= {section.video.file, *section.video.captions.values()}
    return named


def check_kept(text: ModuleText) -> None:
    """Raise FileNotKept unless every file that a module names is kept."""
    named = files_named(text.sections)
    if not named:
        return
    kept = TeachingFile.objects.filter(name__in=named).values_list("name", flat=True)
    missing = named - set(kept)
    if missing:
        raise FileNotKept(", ".join(sorted(missing)))


def pictures_record(section: SectionText) -> list[Record]:
    """Return the pictures of a section as its record has them."""
    return [
        {
            "key": one.key,
            "file": one.file,
            **({"decoration": True} if one.alt is None else {"alt": dict(one.alt)}),
        }
        for one in section.pictures
    ]


def video_record(section: SectionText) -> Record:
    """Return the video of a section as its record has it; nothing if there is none."""
    video = section.video
    if video is None:
        return {}
    return {
        "file": video.file,
        "captions": dict(video.captions),
        "transcript": dict(video.transcript),
    }
