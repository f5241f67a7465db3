"""Take a picture in: told by its content, made small, and written anew without what it tells.

Nothing of the file itself is kept. So no program, no place where it was taken and no owner's name
comes along with it.
"""

import io
import re
import warnings
from dataclasses import dataclass
from enum import StrEnum

from PIL import Image, ImageOps, UnidentifiedImageError

from education.rules.page_weight import LARGEST_PICTURE

MOST_BYTES = 10_000_000
MOST_PIXELS = 25_000_000  # some 100 MB while it is read
LARGE, SMALL = 960, 480  # pixels: twice the width of a phone, and a little more than once
SMALLEST = 64
FEW_COLOURS = 1024
_FORMATS = ("PNG", "JPEG", "WEBP")
_QUALITIES = (80, 65, 50, 35)
_SCRIPT = re.compile(rb"<script|\son[a-z]+\s*=|javascript:", re.IGNORECASE)
_PROGRAMS = (b"MZ", b"\x7fELF", b"#!", b"\xca\xfe\xba\xbe", b"\xcf\xfa\xed\xfe", b"\xfe\xed\xfa")


class NotTaken(StrEnum):
    """Why a picture is refused."""

    EMPTY = "empty"
    TOO_MANY_BYTES = "too_many_bytes"
    TOO_MANY_PIXELS = "too_many_pixels"
    SVG = "svg"
    SVG_WITH_SCRIPT = "svg_with_script"
    PROGRAM = "program"
    OTHER = "other"
    BROKEN = "broken"
    MOVES = "moves"


class PictureRefused(ValueError):
    """The file is not taken as a picture."""

    def __init__(self, why: NotTaken) -> None:
        super().__init__(why.value)
        self.why = why


@dataclass(frozen=True)
class Drawn:
    """A picture in two sizes as WebP; the measures in pixels are the large one's."""

    large: bytes
    small: bytes
    width: int
    height: int


def take_in(data: bytes) -> Drawn:
    """Return a PNG, JPEG or WebP picture made small. Raises PictureRefused."""
    if not data:
        raise PictureRefused(NotTaken.EMPTY)
    if len(data) > MOST_BYTES:
        raise PictureRefused(NotTaken.TOO_MANY_BYTES)
    _refuse_others(data)
    picture = _opened(data)
    large = _at_most(picture, LARGE)
    drawn, large = _written(large, LARGEST_PICTURE)
    small, _ = _written(_at_most(large, SMALL), LARGEST_PICTURE // 2)
    return Drawn(drawn, small, *large.size)


def _refuse_others(data: bytes) -> None:
    head = data[:2048].lstrip(b"\xef\xbb\xbf \t\r\n").lower()
    if head.startswith((b"<svg", b"<?xml", b"<!doctype svg", b"<!--")) and b"<svg" in data.lower():
        why = NotTaken.SVG_WITH_SCRIPT if _SCRIPT.search(data) else NotTaken.SVG
        raise PictureRefused(why)
    if data.startswith(_PROGRAMS):
        raise PictureRefused(NotTaken.PROGRAM)


def _opened(data: bytes) -> Image.Image:
    """Read a picture; its measures are looked at before anything of it is unpacked."""
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore", Image.DecompressionBombWarning)
            found = Image.open(io.BytesIO(data), formats=_FORMATS)
    except UnidentifiedImageError:
        raise PictureRefused(NotTaken.OTHER) from None
    except Image.DecompressionBombError:
        raise PictureRefused(NotTaken.TOO_MANY_PIXELS) from None
    except (OSError, ValueError, SyntaxError):
        raise PictureRefused(NotTaken.BROKEN) from None
    with found:
        if found.width * found.height > MOST_PIXELS:
            raise PictureRefused(NotTaken.TOO_MANY_PIXELS)
        if getattr(found, "n_frames", 1) > 1:
            raise PictureRefused(NotTaken.MOVES)
        try:
            found.load()
            upright = ImageOps.exif_transpose(found)
            clear = "A" in upright.getbands() or "transparency" in upright.info
            return upright.convert("RGBA" if clear else "RGB")
        except (OSError, ValueError, SyntaxError, EOFError):
            raise PictureRefused(NotTaken.BROKEN) from None


def _at_most(picture: Image.Image, width: int) -> Image.Image:
    """Return a picture no wider than this, and no higher than twice as much."""
    scale = min(1, width / picture.width, 2 * width / picture.height)
    if scale == 1:
        return picture
    size = (max(1, round(picture.width * scale)), max(1, round(picture.height * scale)))
    return picture.resize(size, Image.Resampling.LANCZOS)


def _written(picture: Image.Image, most: int) -> tuple[bytes, Image.Image]:
    """Return a picture as WebP of at most so many bytes, scaled down where nothing else helps."""
    if picture.getcolors(FEW_COLOURS) is not None:  # a drawing: its edges stay sharp
        exact = _webp(picture, lossless=True)
        if len(exact) <= most:
            return exact, picture
    made = b""
    for quality in _QUALITIES:
        made = _webp(picture, quality=quality)
        if len(made) <= most:
            return made, picture
    if picture.width <= SMALLEST:
        return made, picture
    smaller = int(picture.width * min(0.9, 0.95 * (most / len(made)) ** 0.5))
    return _written(_at_most(picture, max(SMALLEST, smaller)), most)


def _webp(picture: Image.Image, **options: int | bool) -> bytes:
    into = io.BytesIO()
    picture.save(into, "WEBP", method=4, exact=False, **options)
    return into.getvalue()
