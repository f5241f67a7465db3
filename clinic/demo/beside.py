"""The picture and the short video that the demo's lesson of the first weeks shows.

Both were drawn for it, shape by shape; nobody's photograph or film is in them.
"""

from dataclasses import replace
from datetime import datetime
from pathlib import Path

from education.files_beside import with_files
from education.rules.module_parts import ModuleText, PictureText, SectionText, VideoText
from education.rules.picture_marks import with_picture

FOLDER = Path(__file__).parent / "shown"
SECTION = "sipping"
CUPS = PictureText(
    key="cups",
    file="cups.png",
    alt={
        "en": "A small cup that holds one ounce, and a mug that holds eight of them.",
        "es": "Una taza pequeña de una onza y una taza grande en la que caben ocho.",
    },
)
SIPS = VideoText(
    file="sips.mp4",
    captions={"en": "sips.en.vtt", "es": "sips.es.vtt"},
    transcript={
        "en": "The video has no sound. It shows a cup, a clock and three dots.\n\n"
        "Take one small sip. Put the cup down. Wait. The clock goes once around.\n\n"
        "Take the next small sip. Wait again. And one more.\n\n"
        "If it feels full, stop for now.",
        "es": "El video no tiene sonido. Muestra una taza, un reloj y tres puntos.\n\n"
        "Tome un sorbo pequeño. Deje la taza. Espere. El reloj da una vuelta.\n\n"
        "Tome otro sorbo pequeño. Espere de nuevo. Y uno más.\n\n"
        "Si se siente lleno, pare por ahora.",
    },
)


def with_pictures(text: ModuleText, *, at: datetime, by_id: int | None = None) -> ModuleText:
    """Return a module with the demo's picture and video, if it has the section for them."""
    sections = tuple(_shown(one) if one.key == SECTION else one for one in text.sections)
    return with_files(replace(text, sections=sections), FOLDER, at=at, by_id=by_id)


def _shown(section: SectionText) -> SectionText:
    body = {code: with_picture(text, CUPS.key) for code, text in section.body.items()}
    return replace(section, body=body, pictures=(CUPS,), video=SIPS)
