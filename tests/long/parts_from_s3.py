"""What the store is asked for when a part of a video is; run by tests.long.s3_store."""

import io
from typing import Any

import pytest
from django.core.files.base import File
from django.core.files.storage import default_storage
from django.test import Client

from education.teaching_files import keep_video, open_file
from patients.clock import now
from tests.drawings import a_video

MEGABYTE = 1024 * 1024


@pytest.mark.django_db
def test_a_part_of_a_video_is_fetched_and_no_more() -> None:
    film = a_video(pixels=5 * MEGABYTE)
    kept = keep_video(File(io.BytesIO(film)), len(film), at=now())
    fetched: list[int] = []

    def note(parsed: dict[str, Any], **_: Any) -> None:
        fetched.append(parsed.get("ContentLength", 0))

    events = default_storage.bucket.meta.client.meta.events  # type: ignore[attr-defined]
    events.register("after-call.s3.GetObject", note)
    part = Client().get(f"/files/{kept.name}", headers={"range": "bytes=3000000-3000099"})
    assert part.status_code == 206
    assert part.content == film[3_000_000:3_000_100]
    assert part["Content-Range"] == f"bytes 3000000-3000099/{len(film)}"
    assert fetched == [100]
    end = Client().get(f"/files/{kept.name}", headers={"range": "bytes=-10"})
    assert end.content == film[-10:]
    # However much is asked for at once, a megabyte is answered.
    long = Client().get(f"/files/{kept.name}", headers={"range": "bytes=0-"})
    assert long.content == film[:MEGABYTE]
    assert fetched == [100, 10, MEGABYTE]
    whole = Client().get(f"/files/{kept.name}")
    assert whole.getvalue() == film
    assert Client().get(f"/files/{'0' * 64}.mp4").status_code == 404
    with open_file(kept.name) as file:  # type: ignore[union-attr]
        assert (file.read(4), file.tell(), file.seek(-2, 2), len(file.read())) == (
            film[:4],
            4,
            len(film) - 2,
            2,
        )
