"""What is taken as a picture, and what is left of it. Shapes of bad files: OWASP's file upload
cheat sheet, from memory.
"""

import io
import struct
import zlib

import pytest
from PIL import Image

from education.picture_intake import MOST_PIXELS, NotTaken, PictureRefused, take_in
from education.rules.page_weight import FIRST_VIEW, LARGEST_PICTURE, too_heavy
from tests.drawings import a_drawing

PLACE = "39 deg 44 min north, 104 deg 59 min west"


def shown(data: bytes) -> Image.Image:
    return Image.open(io.BytesIO(data))


@pytest.mark.parametrize("form", ["PNG", "JPEG", "WEBP"])
def test_a_picture_is_made_small_and_says_nothing_of_where_it_was_taken(form: str) -> None:
    exif = Image.Exif()
    exif[0x010E] = PLACE  # ImageDescription
    exif[0x0112] = 6  # Orientation: the camera was turned (EXIF 2.32, 4.6.4)
    drawn = take_in(a_drawing(width=2000, height=1250, form=form, exif=exif))
    assert (drawn.width, drawn.height) == (960, 1536), "upright, and no wider than two phones"
    for data, most in ((drawn.large, LARGEST_PICTURE), (drawn.small, LARGEST_PICTURE // 2)):
        assert len(data) <= most
        assert shown(data).format == "WEBP"
        assert not shown(data).getexif()
        assert PLACE.encode() not in data
    assert shown(drawn.small).width <= 480


def png_that_says(width: int, height: int) -> bytes:
    """A PNG of a few bytes whose header announces any size (PNG, ISO/IEC 15948, 11.2.2)."""

    def chunk(kind: bytes, content: bytes) -> bytes:
        end = zlib.crc32(kind + content)
        return struct.pack(">I", len(content)) + kind + content + struct.pack(">I", end)

    head = struct.pack(">IIBBBBB", width, height, 8, 2, 0, 0, 0)
    packed = zlib.compress(bytes(1000))
    signature = b"\x89PNG\r\n\x1a\n"
    return signature + chunk(b"IHDR", head) + chunk(b"IDAT", packed) + chunk(b"IEND", b"")


def moving() -> bytes:
    frames = [Image.new("RGB", (8, 8), (shade, 0, 0)) for shade in (0, 200)]
    into = io.BytesIO()
    frames[0].save(into, "WEBP", save_all=True, append_images=frames[1:], lossless=True)
    return into.getvalue()


REFUSED = [
    (b"", NotTaken.EMPTY, "nothing"),
    (b"<svg xmlns='http://www.w3.org/2000/svg'/>", NotTaken.SVG, "an SVG"),
    (b"<?xml version='1.0'?>\n<!-- x --><svg/>", NotTaken.SVG, "an SVG with a prologue"),
    (b"\xef\xbb\xbf <SVG><script>alert(1)</script></SVG>", NotTaken.SVG_WITH_SCRIPT, "a script"),
    (b"<svg onload = 'alert(1)'/>", NotTaken.SVG_WITH_SCRIPT, "a script in an attribute"),
    (b"<svg><a href='javascript:alert(1)'/></svg>", NotTaken.SVG_WITH_SCRIPT, "in an address"),
    (b"MZ\x90\x00" + bytes(200), NotTaken.PROGRAM, "a program of Windows, named .png"),
    (b"\x7fELF" + bytes(200), NotTaken.PROGRAM, "a program of Linux"),
    (b"#!/bin/sh\nrm -r /\n", NotTaken.PROGRAM, "a script of a shell"),
    (b"GIF89a" + bytes(30), NotTaken.OTHER, "a GIF"),
    (b"<html><script>alert(1)</script>", NotTaken.OTHER, "a page"),
    (png_that_says(MOST_PIXELS, 2), NotTaken.TOO_MANY_PIXELS, "a bomb: 25 million by 2"),
    (png_that_says(100_000, 100_000), NotTaken.TOO_MANY_PIXELS, "a larger bomb"),
    (png_that_says(300, 300), NotTaken.BROKEN, "cut off"),
    (a_drawing()[:-40], NotTaken.BROKEN, "its end is missing"),
    (moving(), NotTaken.MOVES, "it moves"),
]


@pytest.mark.parametrize("data, why, name", REFUSED, ids=[row[2] for row in REFUSED])
def test_what_is_no_picture_is_refused_by_its_content(
    data: bytes, why: NotTaken, name: str
) -> None:
    with pytest.raises(PictureRefused) as caught:
        take_in(data)
    assert caught.value.why == why


def test_a_lesson_is_heavy_when_a_first_view_is() -> None:
    """Promise W8: 60 kB in 8 requests; 400 kbit/s are 50 kB a second."""
    assert FIRST_VIEW == 60_000
    assert too_heavy(14_000, [24_000]) is None
    found = too_heavy(14_000, [24_000, 24_000])
    assert found is not None
    assert (found.weight, found.seconds) == (62_000, 1)
    assert too_heavy(10_000, [1] * 5) is None
    assert too_heavy(10_000, [1] * 6) is not None, "more requests than 8"
