"""Uploads in an S3-compatible store, read in parts.

A phone that plays a video asks for one megabyte after the other. The library's own file fetches the
whole object, into memory, before it gives out the first byte of a part.

Only where MEDIA_S3_BUCKET is set is this imported: its libraries are in requirements-s3.txt.
"""

import os
from collections.abc import Iterator
from typing import Any

from botocore.exceptions import ClientError
from django.core.files.utils import validate_file_name
from storages.backends.s3 import S3File, S3Storage


class FileInS3(S3File):  # type: ignore[misc]  # without types
    """An object that is open to be read: what is asked for is fetched, and no more of it."""

    def __init__(self, name: str, storage: S3Storage) -> None:
        super().__init__(name, "rb", storage)
        self.at = 0

    def seek(self, offset: int, whence: int = os.SEEK_SET) -> int:
        """Go to a place; returns it, counted from the beginning."""
        base = {os.SEEK_SET: 0, os.SEEK_CUR: self.at, os.SEEK_END: self.size}[whence]
        self.at = max(0, base + offset)
        return self.at

    def tell(self) -> int:
        """Return the place from which the next bytes are read."""
        return self.at

    def read(self, size: int | None = -1) -> bytes:
        """Return at most `size` bytes from here on, or all of them."""
        end = self.size if size is None or size < 0 else min(self.size, self.at + size)
        if self.at >= end:
            return b""
        wanted = f"bytes={self.at}-{end - 1}"  # RFC 9110: both inclusive
        content: bytes = self.obj.get(Range=wanted)["Body"].read()
        self.at += len(content)
        return content

    def chunks(self, chunk_size: int | None = None) -> Iterator[bytes]:
        """Return the whole object in pieces, by one request."""
        yield from self.obj.get()["Body"].iter_chunks(chunk_size or self.DEFAULT_CHUNK_SIZE)


class UploadsInS3(S3Storage):  # type: ignore[misc]  # without types
    """The store of `STORAGES["default"]` where MEDIA_S3_BUCKET is set."""

    def _open(self, name: str, mode: str = "rb") -> Any:
        if mode != "rb":
            return super()._open(name, mode)
        validate_file_name(name, allow_relative_path=True)
        try:
            return FileInS3(self._normalize_name(name), self)
        except ClientError as refused:
            if refused.response["ResponseMetadata"]["HTTPStatusCode"] == 404:
                raise FileNotFoundError(name) from None
            raise
