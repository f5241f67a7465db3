"""What is typed and chosen beside a section's words: a picture, or a video.

The files stand last: what stands before them is read even of a form whose file is too large.
"""

from django import forms

from clinic.forms.module_draft import LONGEST_LINE, LONGEST_TEXT, CleanField, DraftForm

_PICTURES = "image/png,image/jpeg,image/webp"
_VIDEOS = "video/mp4,video/webm"


def _file(label: str, accept: str, help_text: str = "") -> forms.FileField:
    return forms.FileField(
        label=label,
        required=False,
        allow_empty_file=True,
        help_text=help_text,
        widget=forms.FileInput(attrs={"accept": accept}),
    )


class PictureForm(DraftForm):
    """A picture, and what it shows in words."""

    alt_en = CleanField(
        label="What it shows, English",
        required=False,
        max_length=LONGEST_LINE,
        help_text="Read aloud to who cannot see it: say what the picture tells, in one sentence.",
    )
    alt_es = CleanField(label="What it shows, Spanish", required=False, max_length=LONGEST_LINE)
    decoration = forms.BooleanField(
        label="It is decoration: nothing is missed by who cannot see it", required=False
    )
    file = _file("Picture", _PICTURES, "PNG, JPEG or WebP, up to 10 MB. It is made small here.")


class VideoForm(DraftForm):
    """A video, what is said in it, and the captions that are shown over it."""

    transcript_en = CleanField(
        label="All that is said and shown, English",
        required=False,
        max_length=LONGEST_TEXT,
        widget=forms.Textarea(attrs={"rows": 6}),
        help_text="For who cannot hear or see it, or pays for what is loaded. "
        "Left empty, it is made of the captions: read it through then.",
    )
    transcript_es = CleanField(
        label="All that is said and shown, Spanish",
        required=False,
        max_length=LONGEST_TEXT,
        widget=forms.Textarea(attrs={"rows": 6}),
    )
    captions_en = _file("Captions, English", ".vtt,text/vtt", "A WebVTT file (.vtt).")
    captions_es = _file("Captions, Spanish", ".vtt,text/vtt")
    file = _file("Video", _VIDEOS)
