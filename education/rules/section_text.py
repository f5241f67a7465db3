"""Read a section of a module: its words, the pictures in them, and its video.

A file is named as it is found: beside the module's file, or by the name under which it is kept.
"""

from education.rules.module_parts import PictureText, SectionText, VideoText, Words
from education.rules.picture_marks import placed
from education.rules.toml_fields import Fields, Record, Where, name

_SECTION_FIELDS = frozenset(
    {"key", "heading", "body", "ask_yourself", "sources", "picture", "video"}
)
_PICTURE_FIELDS = frozenset({"key", "file", "alt", "decoration"})
_VIDEO_FIELDS = frozenset({"file", "captions", "transcript"})
MOST_PICTURES = 8  # of one section


def read_section(fields: Fields, record: Record, number: int) -> SectionText:
    """Return a section; `number` is its place, from 1."""
    where = name("Section", record, number)
    fields.check_known(record, _SECTION_FIELDS, where)
    body = fields.words(record, "body", where)
    note = fields.words_if_any(record, "ask_yourself", where)
    for language, text in (note or {}).items():
        if placed(text):
            fields.add(where, f"ask_yourself-{language}", 'a picture stands in "body" alone.')
    return SectionText(
        key=fields.slug(record, "key", where),
        heading=fields.words(record, "heading", where),
        body=body,
        ask_yourself=note,
        sources=fields.string(record, "sources", where).strip() if "sources" in record else "",
        pictures=_pictures(fields, record, where, body),
        video=_video(fields, record["video"], where) if record.get("video") else None,
    )


def _pictures(fields: Fields, record: Record, where: Where, body: Words) -> tuple[PictureText, ...]:
    entries = fields.tables(record, "picture", where) if record.get("picture") else []
    pictures = tuple(
        _picture(fields, entry, number, where) for number, entry in enumerate(entries, start=1)
    )
    keys = [picture.key for picture in pictures]
    fields.check_unique(keys, "pictures", where)
    if len(keys) > MOST_PICTURES:
        fields.add(where, "pictures", f"there are {len(keys)} pictures; at most {MOST_PICTURES}.")
    for language, text in body.items():
        marks = placed(text)
        for key in sorted(set(marks) - set(keys)):
            said = f'there is no picture "{key}", which "body" in "{language}" shows.'
            fields.add(where, f"body-{language}", said)
        for key in filter(None, keys):
            if marks.count(key) != 1:
                times = "more than once" if key in marks else "nowhere"
                said = f'the picture "{key}" stands {times} in "body" in "{language}".'
                fields.add(where, f"body-{language}", f"{said} Write ![]({key}) once.")
    return pictures


def _picture(fields: Fields, record: Record, number: int, section: Where) -> PictureText:
    named = record.get("key") or number
    where = Where(f'{section}, picture "{named}"', f"picture-{named}-")
    fields.check_known(record, _PICTURE_FIELDS, where)
    decoration = "decoration" in record and fields.yes_or_no(record, "decoration", where)
    if decoration and "alt" in record:
        fields.add(where, "decoration", 'a decoration has no "alt".')
    return PictureText(
        key=fields.slug(record, "key", where),
        file=fields.string(record, "file", where),
        alt=None if decoration else fields.words(record, "alt", where),
    )


def _video(fields: Fields, record: Record, section: Where) -> VideoText:
    where = Where(f"{section}, video", "video-")
    if not isinstance(record, dict):
        fields.add(section, "video", '"video" must be a table.')
        return VideoText("", {}, {})
    fields.check_known(record, _VIDEO_FIELDS, where)
    return VideoText(
        file=fields.string(record, "file", where),
        captions=fields.words(record, "captions", where),
        transcript=fields.words(record, "transcript", where),
    )
