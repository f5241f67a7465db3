"""Pictures and a video for tests, made here: no file of anybody's is in them."""

import io

from PIL import Image, ImageDraw


def a_drawing(
    *, width: int = 640, height: int = 400, form: str = "PNG", say: int = 0, **save: object
) -> bytes:
    """Return a picture of a cup; `say` makes another one."""
    picture = Image.new("RGB", (width, height), (240, 244, 238))
    pen = ImageDraw.Draw(picture)
    pen.rectangle((width // 4, height // 4, width // 2, height * 3 // 4), fill=(60, 90, say % 256))
    into = io.BytesIO()
    picture.save(into, form, **save)
    return into.getvalue()


def a_video(*, codec: bytes = b"avc1", tells: bytes = b"", cut: int = 0, pixels: int = 64) -> bytes:
    """Return the smallest file that has the shape of an MP4 (ISO/IEC 14496-12, section 4.2).

    `tells` stands in a box of the owner's (udta); `cut` bytes are missing at the end.
    """
    sample = box(b"stsd", bytes(4) + (1).to_bytes(4, "big") + box(codec, bytes(78)))
    media = box(b"mdia", box(b"minf", box(b"stbl", sample)))
    owner = box(b"udta", tells) if tells else b""
    whole = box(b"ftyp", b"isom\x00\x00\x02\x00isomavc1")
    whole += box(b"moov", box(b"mvhd", bytes(100)) + box(b"trak", media) + owner)
    whole += box(b"mdat", bytes(pixels))
    return whole[: len(whole) - cut]


def box(kind: bytes, content: bytes) -> bytes:
    """Return one box: its length, its type, what is in it."""
    return (len(content) + 8).to_bytes(4, "big") + kind + content


CAPTIONS = (
    b"WEBVTT\n\n00:00.000 --> 00:02.000\nTake a sip.\n\n00:02.500 --> 00:04.000\nThen wait.\n"
)
