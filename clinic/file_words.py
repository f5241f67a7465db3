"""Why a picture or a video was not taken, in the words of the page where it was chosen."""

from education.picture_intake import MOST_BYTES, MOST_PIXELS, NotTaken
from education.rules.page_weight import FIRST_VIEW, TooHeavy
from education.rules.video_file import NotAVideo

_OTHERS = "Choose a PNG, JPEG or WebP picture."
PICTURE: dict[NotTaken, str] = {
    NotTaken.EMPTY: "There is nothing in this file.",
    NotTaken.TOO_MANY_BYTES: f"This file is larger than {MOST_BYTES // 1_000_000} MB. "
    "Save the picture smaller, and choose that.",
    NotTaken.TOO_MANY_PIXELS: f"This picture has more than {MOST_PIXELS // 1_000_000} million "
    "points. Save it smaller, and choose that.",
    NotTaken.SVG: "This is an SVG drawing, which can carry a program. Save it as PNG, and choose "
    "that.",
    NotTaken.SVG_WITH_SCRIPT: "This is an SVG drawing with a script in it: it was not taken. Ask "
    "whoever sent it, or save it as PNG and choose that.",
    NotTaken.PROGRAM: "This is a program, whatever its name says: it was not taken. " + _OTHERS,
    NotTaken.OTHER: "This is no picture that every phone can show. " + _OTHERS,
    NotTaken.BROKEN: "This picture is broken and cannot be read. Save it anew, and choose that.",
    NotTaken.MOVES: "This picture moves, which makes reading hard. Choose one that stands still.",
}
VIDEO: dict[NotAVideo, str] = {
    NotAVideo.NO_VIDEO: "This is no video that phones can play. Choose an MP4 (H.264) or WebM.",
    NotAVideo.CUT_OFF: "This video is broken, or its end is missing. Save it anew, and choose "
    "that.",
    NotAVideo.FEW_CAN_PLAY: "Many phones cannot play a video of this kind. Save it as MP4 with "
    "H.264, and choose that.",
}
NO_PICTURE = "Choose a picture."


def too_large(limit: int) -> str:
    """Say that a file is over a limit in bytes."""
    return (
        f"The file is larger than {limit // 1024 // 1024} MB and was not taken. Make it shorter or "
        "save it in a lower quality. What you typed is still here."
    )


def heavy(found: TooHeavy) -> str:
    """Say that a lesson is more than a slow phone gets quickly."""
    many = "picture" if found.pictures == 1 else f"{found.pictures} pictures"
    return (
        f"With its {many} this lesson weighs {found.weight // 1000} kB; more than "
        f"{FIRST_VIEW // 1000} is slow where the signal is weak (some {max(2, found.seconds)} "
        "seconds). A picture is loaded when the reader comes to it, so those further down hurt "
        "less. Take one out, or choose simpler ones."
    )
