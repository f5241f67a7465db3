"""Take in the pictures, videos and captions that lie beside a module's file."""

import io
import shutil
import tempfile
from collections.abc import Callable
from dataclasses import replace
from datetime import datetime
from pathlib import Path

from django.core.files.base import File

from education.models import TeachingFile
from education.picture_intake import PictureRefused
from education.rules.captions import BadCaptions
from education.rules.module_parts import ModuleText, PictureText, SectionText, VideoText
from education.teaching_files import VideoRefused, keep_captions, keep_picture, keep_video


class FilesBesideError(ValueError):
    """Files that cannot be taken. `problems` says why, one plain sentence each."""

    def __init__(self, problems: list[str]) -> None:
        super().__init__("\n".join(problems))
        self.problems = tuple(problems)


def with_files(
    text: ModuleText, folder: Path, *, at: datetime, by_id: int | None = None
) -> ModuleText:
    """Keep the files that a module names by their places in a folder; return it with their names.

    Raises FilesBesideError with everything that is wrong with them.
    """
    taking = _Taking(folder, at, by_id)
    sections = tuple(taking.section(section) for section in text.sections)
    if taking.problems:
        raise FilesBesideError(taking.problems)
    return replace(text, sections=sections)


class _Taking:
    def __init__(self, folder: Path, at: datetime, by_id: int | None) -> None:
        self.folder = folder.resolve()
        self.at, self.by_id = at, by_id
        self.problems: list[str] = []

    def section(self, section: SectionText) -> SectionText:
        video = section.video
        return replace(
            section,
            pictures=tuple(self.picture(one) for one in section.pictures),
            video=self.video(video) if video else None,
        )

    def picture(self, picture: PictureText) -> PictureText:
        return replace(picture, file=self.kept(picture.file, self._picture))

    def video(self, video: VideoText) -> VideoText:
        captions = {code: self.kept(f, self._captions) for code, f in video.captions.items()}
        return replace(video, file=self.kept(video.file, self._video), captions=captions)

    def kept(self, name: str, keep: Callable[[Path], TeachingFile]) -> str:
        path = (self.folder / name).resolve()
        if not path.is_relative_to(self.folder):
            self.problems.append(f'"{name}" does not lie beside the module\'s file.')
            return ""
        try:
            return keep(path).name
        except OSError as problem:
            self.problems.append(f'"{name}": {problem.strerror}.')
        except BadCaptions as problem:
            self.problems.append(f'"{name}": {problem}')
        except PictureRefused as problem:
            self.problems.append(f'"{name}" is not taken as a picture ({problem}).')
        except VideoRefused as problem:
            self.problems.append(f'"{name}" is not taken as a video ({problem}).')
        return ""

    def _picture(self, path: Path) -> TeachingFile:
        return keep_picture(path.read_bytes(), at=self.at, by_id=self.by_id)

    def _captions(self, path: Path) -> TeachingFile:
        return keep_captions(path.read_bytes(), at=self.at, by_id=self.by_id)

    def _video(self, path: Path) -> TeachingFile:
        # What the video tells of its taking is left out in a copy, never in the file itself.
        with path.open("rb") as source, tempfile.TemporaryFile() as copy:
            shutil.copyfileobj(source, copy)
            size = copy.seek(0, io.SEEK_END)
            return keep_video(File(copy), size, at=self.at, by_id=self.by_id)
