"""What may be sent with a form: refused by the length that the browser announces, before a byte of
a file is kept on disk or in memory.

The fields that stand before the file in the form are read all the same, so that nothing typed is
lost. Of somebody who is not signed in no file is taken at all.
"""

from collections.abc import Callable
from typing import Any, TypeVar

from django.conf import settings
from django.core.files.uploadhandler import FileUploadHandler, SkipFile, StopUpload
from django.http import HttpRequest

View = TypeVar("View", bound=Callable[..., object])

USUAL = 64 * 1024 * 1024  # bytes; schedules have a smaller limit of their own, said in words
BESIDE_FILES = 2 * 1024 * 1024  # what the other fields and the form itself may take
# So much more is still received, and thrown away: a browser reads no answer while it is sending.
STILL_RECEIVED = 512 * 1024 * 1024


def takes_upload(largest: int | str) -> Callable[[View], View]:
    """Let a view take files of so many bytes, or of as many as the setting of this name says.

    The view says itself that one was too large: it asks `upload_refused`.
    """

    def declare(view: View) -> View:
        view.largest_upload = largest  # type: ignore[attr-defined]
        return view

    return declare


def takes_files(view: Callable[..., object]) -> bool:
    """Return whether a view says itself what becomes of a file that is too large."""
    return hasattr(view, "largest_upload")


def upload_refused(request: HttpRequest) -> bool:
    """Return whether a file came that is too large. It is not among the files of the request."""
    _ = request.POST  # told once the form has been read
    return bool(getattr(request, "upload_refused", False))


class WithinLimit(FileUploadHandler):
    """Stands before the handlers that keep files, and stops what is too large."""

    def __init__(self, request: HttpRequest | None = None) -> None:
        super().__init__(request)
        self._over = 0

    def handle_raw_input(
        self,
        input_data: Any,
        META: dict[str, str],  # noqa: N803  # Django's name
        content_length: int,
        boundary: str,
        encoding: str | None = None,
    ) -> None:
        """Compare what is announced with what this view takes."""
        self._over = content_length - self._largest() - BESIDE_FILES

    def receive_data_chunk(self, raw_data: bytes, start: int) -> bytes:
        """Stop the file that is too large; the small ones beside it (captions) are taken."""
        if self._over <= 0 or start + len(raw_data) <= BESIDE_FILES:
            return raw_data
        self.request.upload_refused = True  # type: ignore[union-attr]
        if self._over > STILL_RECEIVED:
            raise StopUpload(connection_reset=True)
        raise SkipFile

    def file_complete(self, file_size: int) -> None:
        """The file is the next handler's."""

    def _largest(self) -> int:
        request = self.request
        if request is None or not getattr(request, "user", None) or request.user.is_anonymous:
            return 0
        match = request.resolver_match
        largest = getattr(match.func, "largest_upload", USUAL) if match else USUAL
        return int(getattr(settings, largest) if isinstance(largest, str) else largest)
