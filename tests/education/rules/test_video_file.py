"""Videos told by their content: boxes of ISO/IEC 14496-12, the EBML header of RFC 8794."""

import io

import pytest

from education.rules.video_file import NotAVideo, VideoKind, what_it_tells, what_video
from tests.drawings import a_video

SHAPES = [
    (a_video(), VideoKind.MP4, "H.264"),
    (a_video(codec=b"vp09"), VideoKind.MP4, "VP9"),
    (a_video(codec=b"hvc1"), NotAVideo.FEW_CAN_PLAY, "HEVC, as many telephones record it"),
    (a_video(codec=b"mp4a"), NotAVideo.FEW_CAN_PLAY, "sound alone"),
    (a_video(cut=10), NotAVideo.CUT_OFF, "cut off"),
    (a_video()[:20], NotAVideo.CUT_OFF, "its beginning alone"),
    (b"\x1a\x45\xdf\xa3\x9f\x42\x86\x81\x01\x42\x82\x84webm", VideoKind.WEBM, "WebM"),
    (b"\x1a\x45\xdf\xa3\x9f\x42\x82\x88matroska", NotAVideo.FEW_CAN_PLAY, "Matroska"),
    (b"MZ\x90\x00" + bytes(100), NotAVideo.NO_VIDEO, "a program, named .mp4"),
    (b"RIFF\x00\x00\x00\x00AVI LIST", NotAVideo.NO_VIDEO, "AVI"),
    (b"", NotAVideo.NO_VIDEO, "nothing"),
    (b"\x00\x00\x00\x01ftyp" + bytes(8), NotAVideo.CUT_OFF, "a length of nothing"),
]


@pytest.mark.parametrize("data, kind, name", SHAPES, ids=[row[2] for row in SHAPES])
def test_a_video_is_told_by_its_content(data: bytes, kind: object, name: str) -> None:
    assert what_video(io.BytesIO(data), len(data)) == kind


def test_what_the_owner_wrote_is_found() -> None:
    data = a_video(tells=b"\xa9xyz+39.7392-104.9903/")
    (box,) = what_it_tells(io.BytesIO(data), len(data))
    assert data[box.begin : box.end] == b"\xa9xyz+39.7392-104.9903/"
    assert data[box.type_at : box.type_at + 4] == b"udta"
