"""A module's file may name pictures, videos and captions that lie beside it."""

from pathlib import Path

import pytest
from django.core.management import CommandError, call_command

from clinic.evidence.gather_quizzes import editions_of
from clinic.evidence.record import Beside
from education.drafting import what_changed
from education.edition_files import FileNotKept
from education.edition_record import record_of
from education.files_beside import with_files
from education.models import Edition, TeachingFile
from education.publish import publish
from education.readability import edition_passages
from education.rules.module_changes import Change, Changed
from education.rules.module_text import ModuleTextError, languages_complete, read_module
from patients.clock import now
from tests.drawings import CAPTIONS, a_drawing, a_video
from tests.education.every_kind import EVERY_KIND

SHOWN = """
[[section.picture]]
key = "cup"
file = "cup.png"
alt.en = "A small cup."
alt.es = "Una taza."

[section.video]
file = "sips.mp4"
captions.en = "sips.vtt"
captions.es = "sips.vtt"
transcript.en = "Take a sip."
transcript.es = "Tome un sorbo."
"""


def module(shown: str = SHOWN, mark: str = "![](cup)") -> str:
    """The module of every kind of question, its section with what is shown."""
    head, _, rest = EVERY_KIND.partition("[[question]]")
    for words in ("Take small sips.", "Tome sorbos pequeños."):
        head = head.replace(f'"{words}"', f'"{words}\\n\\n{mark}"')
    return f"{head}{shown}\n[[question]]{rest}"


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    (tmp_path / "cup.png").write_bytes(a_drawing())
    (tmp_path / "sips.mp4").write_bytes(a_video())
    (tmp_path / "sips.vtt").write_bytes(CAPTIONS)
    (tmp_path / "module.toml").write_text(module(), encoding="utf-8")
    return tmp_path


@pytest.mark.django_db
def test_they_are_taken_in_and_belong_to_the_edition(folder: Path) -> None:
    call_command("publish", str(folder / "module.toml"))
    edition = Edition.objects.get()
    section = edition.sections.get()
    kept = set(TeachingFile.objects.values_list("name", flat=True))
    named = {section.pictures[0]["file"], section.video["file"], section.video["captions"]["en"]}
    assert named == kept
    assert what_changed(record_of(edition), edition) == ()
    (folder / "cup.png").write_bytes(a_drawing(say=200))
    call_command("publish", str(folder / "module.toml"))
    second = Edition.objects.get(number=2)
    assert Edition.objects.get(number=1).sections.get().pictures == section.pictures
    assert what_changed(record_of(second), edition) == (
        Changed(Change.PICTURES, section.heading["en"]),
    )
    without = record_of(second)
    del without["section"][0]["video"]
    assert what_changed(without, second) == (
        Changed(Change.VIDEO, section.heading["en"], "one", "none"),
    )
    said = edition_passages(edition, "es")[0].blocks
    assert {"Una taza.", "Tome un sorbo."} <= set(said)
    (told,) = editions_of([_Quiz(edition)], [], known_at=None)  # type: ignore[list-item]
    assert told.beside[0] == Beside(
        section.heading["en"], "picture", "A small cup.", section.pictures[0]["file"]
    )
    assert [one.what for one in told.beside[1:]] == ["video", "captions (en)", "captions (es)"]


class _Quiz:
    def __init__(self, edition: Edition) -> None:
        self.module, self.edition = edition.module.code, edition.number


@pytest.mark.django_db
def test_what_cannot_be_taken_is_named_and_nothing_is_published(folder: Path) -> None:
    (folder / "cup.png").write_bytes(b"<svg onload='x()'/>")
    (folder / "sips.mp4").unlink()
    (folder / "sips.vtt").write_bytes(b"WEBVTT\n\nno time\n")
    with pytest.raises(CommandError) as caught:
        call_command("publish", str(folder / "module.toml"))
    for told in ('"cup.png" is not', '"sips.mp4": No such file', '"sips.vtt": Line 3: '):
        assert told in str(caught.value)
    outside = read_module(module(SHOWN.replace("cup.png", "../cup.png")))
    with pytest.raises(ValueError, match="does not lie beside"):
        with_files(outside, folder, at=now())
    with pytest.raises(FileNotKept):
        publish(read_module(module()), at=now())
    assert not Edition.objects.exists()


PROBLEMS = [
    (SHOWN, "", 'the picture "cup" stands nowhere in "body" in "en"'),
    (SHOWN, "![](cup) ![](cup)", 'the picture "cup" stands more than once'),
    (SHOWN, "![](cup) ![](pan)", 'there is no picture "pan"'),
    (SHOWN.replace('alt.es = "Una taza."', ""), "![](cup)", '"alt" has no text in "es"'),
    (SHOWN.replace('captions.es = "sips.vtt"', ""), "![](cup)", '"captions" has no text in "es"'),
    (SHOWN.replace('transcript.en = "Take a sip."', ""), "![](cup)", '"transcript" has no text'),
    (SHOWN.replace('file = "sips.mp4"', ""), "![](cup)", '"file" is missing'),
    (SHOWN.replace('key = "cup"', 'key = "cup"\ndecoration = true'), "![](cup)", 'no "alt"'),
]


@pytest.mark.parametrize("shown, mark, told", PROBLEMS, ids=[row[2] for row in PROBLEMS])
def test_what_a_picture_and_a_video_need_is_said(shown: str, mark: str, told: str) -> None:
    with pytest.raises(ModuleTextError) as caught:
        read_module(module(shown, mark))
    assert told in str(caught.value)


def test_a_picture_stands_in_the_text_alone() -> None:
    asked = module().replace('"When do I drink?"', '"When? ![](cup)"')
    with pytest.raises(ModuleTextError, match='a picture stands in "body" alone'):
        read_module(asked)


def test_a_decoration_needs_no_words() -> None:
    words = 'alt.en = "A small cup."\nalt.es = "Una taza."'
    text = read_module(module(SHOWN.replace(words, "decoration = true")))
    assert text.sections[0].pictures[0].alt is None
    assert languages_complete(text) == ("en", "es")
