"""Keep the files of the teaching, and open them: pictures, videos, captions.

A file lies in the store for uploads (`STORAGES["default"]`) under the SHA-256 of its content, so
that the same file is kept once, and what an edition shows can never become another.
"""

import hashlib
import re
from datetime import datetime
from typing import IO, Any

from django.core.files.base import ContentFile, File
from django.core.files.storage import default_storage
from django.urls import reverse

from education.models import FileKind, TeachingFile
from education.picture_intake import take_in
from education.rules.captions import read_captions, spoken, written
from education.rules.video_file import NotAVideo, VideoKind, what_it_tells, what_video

CONTENT_TYPE = {
    "webp": "image/webp",
    "mp4": "video/mp4",
    "webm": "video/webm",
    "vtt": "text/vtt; charset=utf-8",
}
_NAME = re.compile(r"([0-9a-f]{64})(?:-small)?\.(webp|mp4|webm|vtt)")
_PIECE = 1024 * 1024  # bytes


class VideoRefused(ValueError):
    """The file is not taken as a video."""

    def __init__(self, why: NotAVideo) -> None:
        super().__init__(why.value)
        self.why = why


def keep_picture(data: bytes, *, at: datetime, by_id: int | None = None) -> TeachingFile:
    """Keep a picture, made small and written anew. Raises PictureRefused."""
    drawn = take_in(data)
    digest = hashlib.sha256(drawn.large).hexdigest()
    _store(f"{digest}-small.webp", ContentFile(drawn.small))
    return _keep(
        f"{digest}.webp",
        ContentFile(drawn.large),
        FileKind.PICTURE,
        at=at,
        by_id=by_id,
        width=drawn.width,
        height=drawn.height,
    )


def keep_video(
    file: "File[bytes]", size: int, *, at: datetime, by_id: int | None = None
) -> TeachingFile:
    """Keep a video of `size` bytes, without what it tells of where it was taken.

    The file is changed in place. Raises VideoRefused.
    """
    inside = file.file
    assert inside is not None  # an open file has one
    kind = what_video(inside, size)
    if isinstance(kind, NotAVideo):
        raise VideoRefused(kind)
    if kind == VideoKind.MP4:
        _leave_out_what_it_tells(inside, size)
    inside.seek(0)
    digest = hashlib.sha256()
    while piece := inside.read(_PIECE):
        digest.update(piece)
    inside.seek(0)
    name = f"{digest.hexdigest()}.{kind.value}"
    return _keep(name, File(inside), FileKind.VIDEO, at=at, by_id=by_id, size=size)


def keep_captions(data: bytes, *, at: datetime, by_id: int | None = None) -> TeachingFile:
    """Keep a file of captions, written anew. Raises BadCaptions."""
    content = written(read_captions(data)).encode()
    name = f"{hashlib.sha256(content).hexdigest()}.vtt"
    return _keep(name, ContentFile(content), FileKind.CAPTIONS, at=at, by_id=by_id)


def keep_again(name: str, *, at: datetime, by_id: int | None = None) -> str:
    """Keep a video whose bytes came with an earlier form, which was refused; return its name.

    "" when they are not in the store.
    """
    path = _path(name)
    if not _NAME.fullmatch(name) or not default_storage.exists(path):
        return ""
    facts = {"kind": FileKind.VIDEO, "size": default_storage.size(path)}
    TeachingFile.objects.get_or_create(
        name=name, defaults={**facts, "recorded_at": at, "by_id": by_id}
    )
    return name


def words_of_captions(name: str) -> str:
    """Return what kept captions say, as the beginning of a transcript."""
    with default_storage.open(_path(name)) as file:
        return spoken(read_captions(file.read()))


def content_type(name: str) -> str:
    """Return what a file is, by the end that its name was given here."""
    return CONTENT_TYPE[name.rpartition(".")[2]]


def open_file(name: str) -> "File[bytes] | None":
    """Return a kept file, open to be read, or None when there is none of this name."""
    if not _NAME.fullmatch(name):
        return None
    try:
        return default_storage.open(_path(name))
    except FileNotFoundError:
        return None


def address(name: str, *, small: bool = False) -> str:
    """Return the address of a file; of a picture also of its small size."""
    if small:
        name = name.replace(".webp", "-small.webp")
    return reverse("teaching-file", args=[name])


def _keep(
    name: str,
    content: "File[bytes]",
    kind: FileKind,
    *,
    at: datetime,
    by_id: int | None,
    size: int | None = None,
    **measures: Any,
) -> TeachingFile:
    _store(name, content)
    facts = {"kind": kind, "size": size or content.size, "recorded_at": at, "by_id": by_id}
    kept, _ = TeachingFile.objects.get_or_create(name=name, defaults={**facts, **measures})
    return kept


def _store(name: str, content: "File[bytes]") -> None:
    path = _path(name)
    if default_storage.exists(path):
        return
    stored = default_storage.save(path, content)
    if stored != path:  # somebody kept the same content in this moment: one of it is enough
        default_storage.delete(stored)


def _path(name: str) -> str:
    return f"teaching/{name[:2]}/{name}"


def _leave_out_what_it_tells(file: IO[bytes], size: int) -> None:
    for box in what_it_tells(file, size):
        file.seek(box.type_at)
        file.write(b"free")  # a box that players pass over, as long as the one before
        file.seek(box.begin)
        left = min(box.end, size) - box.begin
        while left > 0:
            left -= file.write(bytes(min(left, _PIECE)))
