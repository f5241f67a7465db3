"""Pictures and videos of a module: from the editor to the patient's page, and what is refused."""

import io
import re
from html import unescape
from typing import Any

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from django.test.client import MULTIPART_CONTENT

from clinic.once import new_key
from education.drafting import begin_draft, latest, open_draft
from education.models import Edition, FileKind, TeachingFile
from education.teaching_files import open_file
from patients.clock import now
from tests.drawings import CAPTIONS, a_drawing, a_video
from tests.education.every_kind import EVERY_KIND
from tests.factories import (
    a_member,
    a_programme,
    an_assignment,
    an_edition,
    an_invitation,
    signed_in,
)

pytestmark = pytest.mark.django_db

SECTION = "/modules/every-kind/draft/section/how/"
PLACE = b"\xa9xyz+39.7392-104.9903/"


@pytest.fixture
def writer() -> Client:
    a_programme()
    an_edition(EVERY_KIND)
    dietitian = a_member("dietitian")
    begin_draft("every-kind", at=now(), by_id=dietitian.pk)
    return signed_in(dietitian)


def section() -> dict[str, Any]:
    draft = open_draft("every-kind")
    assert draft is not None
    found: dict[str, Any] = latest(draft).content["section"][0]
    return found


def send(client: Client, page: str, **form: Any) -> Any:
    draft = open_draft("every-kind")
    seen = {"seen": latest(draft).number} if draft else {}
    return client.post(page, {"act_key": new_key(), **seen, **form})


def a_file(data: bytes, name: str) -> SimpleUploadedFile:
    return SimpleUploadedFile(name, data, "image/png")


def words_of(answer: Any) -> str:
    return unescape(answer.content.decode())


def test_a_picture_from_the_editor_to_the_patients_page(writer: Client) -> None:
    page = f"{SECTION}picture/new/"
    said = {"alt_en": "A cup", "alt_es": "", "file": a_file(a_drawing(), "cup.png")}
    assert send(writer, page, **said).status_code == 302
    assert section()["body"]["en"].endswith("\n\n![](a-cup)")
    assert "Say what the picture shows" in words_of(writer.get(f"{SECTION}picture/a-cup/"))
    send(writer, "/modules/every-kind/draft/publish/", earlier="count")
    assert Edition.objects.count() == 1, "words are missing in one language"
    send(writer, f"{SECTION}picture/a-cup/", alt_en="A cup", alt_es="Una taza")
    overview = words_of(writer.get("/modules/every-kind/draft/"))
    assert "Pictures changed: How to drink (none → a-cup)" in re.sub(r"</?strong>", "", overview)
    assert "Section reworded" not in overview
    send(writer, "/modules/every-kind/draft/publish/", earlier="count")
    edition = Edition.objects.get(number=2)
    _, token = an_invitation(assignment=an_assignment(module=edition.module))
    read = words_of(Client().get(f"/q/{token}/", headers={"accept-language": "es"}))
    (tag,) = re.findall(r"<img[^>]*>", read)
    assert 'alt="Una taza"' in tag
    assert 'loading="lazy"' in tag
    name = section_files(edition)[0]
    assert f'src="/files/{name}"' in tag
    staff = words_of(writer.get("/modules/every-kind/"))
    assert name in staff.split("Pictures and videos of this edition")[1]
    answer = Client().get(f"/files/{name}")
    assert answer["Content-Type"] == "image/webp"
    assert "immutable" in answer["Cache-Control"]


def section_files(edition: Edition) -> list[str]:
    return [one["file"] for one in edition.sections.get().pictures]


def test_a_picture_taken_out_leaves_the_text_and_stays_kept(writer: Client) -> None:
    before = section()["body"]
    page = f"{SECTION}picture/new/"
    send(writer, page, decoration="on", file=a_file(a_drawing(), "x.png"))
    assert section()["picture"][0]["decoration"] is True
    send(writer, f"{SECTION}picture/picture-1/", act="remove")
    assert section()["body"] == before
    assert "picture" not in section()
    assert TeachingFile.objects.count() == 1


@pytest.mark.parametrize(
    "data, told",
    [
        (b"<svg onload='x()'/>", "an SVG drawing with a script in it"),
        (b"MZ" + bytes(100), "This is a program, whatever its name says"),
        (b"", "There is nothing in this file."),
        (bytes(10_000_001), "larger than 10 MB"),
    ],
)
def test_what_is_refused_is_told_beside_the_field_and_nothing_typed_is_lost(
    writer: Client, data: bytes, told: str
) -> None:
    answer = send(writer, f"{SECTION}picture/new/", alt_en="A cup", file=a_file(data, "cup.png"))
    page = words_of(answer)
    assert answer.status_code == 422
    assert told in page
    assert 'href="#id_file"' in page
    assert 'value="A cup"' in page
    assert TeachingFile.objects.count() == 0


def test_a_video_with_captions_that_are_wrong_first(writer: Client) -> None:
    page = f"{SECTION}video/"
    bad = a_file(CAPTIONS.replace(b"00:02.500 -->", b"00:02,500 -->"), "sips.vtt")
    video = a_file(a_video(tells=PLACE), "sips.mp4")
    answer = send(writer, page, transcript_es="Tome un sorbo.", captions_en=bad, file=video)
    assert answer.status_code == 422
    assert "Line 6: write a point before the thousandths" in words_of(answer)
    assert "Tome un sorbo." in words_of(answer)
    kept = re.search(r'name="kept" value="([^"]+)"', answer.content.decode())
    assert kept
    captions = {f"captions_{code}": a_file(CAPTIONS, "sips.vtt") for code in ("en", "es")}
    answer = send(writer, page, transcript_es="Tome un sorbo.", kept=unescape(kept[1]), **captions)
    assert answer.status_code == 302
    said = section()["video"]
    assert said["transcript"] == {"en": "Take a sip.\n\nThen wait.", "es": "Tome un sorbo."}
    stored = open_file(said["file"])
    assert stored is not None
    assert PLACE not in stored.read(), "where it was taken is nobody's business"
    assert TeachingFile.objects.get(name=said["file"]).kind == FileKind.VIDEO
    send(writer, "/modules/every-kind/draft/publish/", earlier="count")
    edition = Edition.objects.get(number=2)
    _, token = an_invitation(assignment=an_assignment(module=edition.module))
    read = words_of(Client().get(f"/q/{token}/", headers={"accept-language": "en"}))
    assert re.search(r'<video controls preload="none"', read)
    assert read.count('<track kind="captions"') == 2
    assert "Then wait." in read
    assert "autoplay" not in read
    changed = re.sub(r"</?strong>", "", words_of(writer.get("/modules/every-kind/")))
    assert said["file"] in changed


@pytest.mark.parametrize(
    "wanted, status, length",
    [
        ("bytes=0-9", 206, 10),
        ("bytes=-4", 206, 4),
        ("", 200, None),
        ("bytes=99999999-", 416, 0),
    ],
)
def test_a_video_is_given_out_in_parts(
    writer: Client, wanted: str, status: int, length: int | None
) -> None:
    send(writer, f"{SECTION}video/", file=a_file(a_video(), "sips.mp4"))
    name = section()["video"]["file"]
    headers = {"range": wanted, "accept-encoding": "gzip"} if wanted else {}
    answer: Any = Client().get(f"/files/{name}", headers=headers)
    everything: Any = Client().get(f"/files/{name}")
    whole = b"".join(everything.streaming_content)
    got = b"".join(answer.streaming_content) if answer.streaming else answer.content
    assert answer.status_code == status
    assert len(got) == (len(whole) if length is None else length)
    assert got in whole
    assert answer["Accept-Ranges"] == "bytes"
    assert "Content-Encoding" not in answer
    assert Client().get(f"/files/{name}", headers={"if-none-match": f'"{name}"'}).status_code == 304


class Endless(io.RawIOBase):
    """A body that goes on for ever, and counts what was read of it."""

    def __init__(self, head: bytes) -> None:
        self.head, self.given = head, 0

    def read(self, size: int = -1) -> bytes:
        piece = self.head or bytes(size)
        self.head = b""
        self.given += len(piece)
        return piece


def two_gigabytes(client: Client, page: str, **fields: str) -> tuple[Any, int]:
    """Send a form whose file announces 2 GB; return the answer, and how much of it was read."""
    line = "--BoUnDaRyStRiNg\r\nContent-Disposition: form-data; name="
    head = "".join(f'{line}"{name}"\r\n\r\n{value}\r\n' for name, value in fields.items())
    head += f'{line}"file"; filename="film.mp4"\r\nContent-Type: video/mp4\r\n\r\n'
    body = Endless(head.encode())
    request = {
        "PATH_INFO": page,
        "REQUEST_METHOD": "POST",
        "CONTENT_TYPE": MULTIPART_CONTENT,
        "CONTENT_LENGTH": str(2 * 1024**3),
        "wsgi.input": body,
    }
    return client.request(**request), body.given


def test_a_video_of_2_gb_is_refused_before_it_fills_anything(writer: Client) -> None:
    draft = open_draft("every-kind")
    assert draft is not None
    seen = str(latest(draft).number)
    answer, read = two_gigabytes(
        writer, f"{SECTION}video/", act_key=new_key(), seen=seen, transcript_en="Sip."
    )
    assert answer.status_code == 422
    assert "larger than 200 MB and was not taken" in words_of(answer)
    assert "Sip." in words_of(answer)
    assert read < 4 * 1024 * 1024, "of 2 GB"
    assert TeachingFile.objects.count() == 0


def test_where_no_such_file_belongs_it_is_refused_as_early(writer: Client) -> None:
    answer, read = two_gigabytes(writer, "/schedule/import/", act_key=new_key())
    assert answer.status_code == 413
    assert read < 4 * 1024 * 1024
    answer, read = two_gigabytes(Client(), f"{SECTION}video/", act_key=new_key())
    assert answer.status_code == 302, "whoever is not signed in"
    assert read < 4 * 1024 * 1024


def test_a_section_is_shown_as_it_is_typed_and_nothing_is_kept(writer: Client) -> None:
    send(
        writer,
        f"{SECTION}picture/new/",
        alt_en="A cup",
        alt_es="Una taza",
        file=a_file(a_drawing(), "cup.png"),
    )
    saved = latest(open_draft("every-kind"))  # type: ignore[arg-type]
    typed = {"heading_es": "Nuevo", "body_es": "Beba <b>poco</b>.\n\n![](a-cup)"}
    look = words_of(writer.post(f"{SECTION}look/", {**typed, "language": "es"}))
    assert "Nuevo" in look
    assert 'alt="Una taza"' in look
    assert "Pregúntese" in look or "ask-yourself" not in look
    empty = words_of(writer.post(f"{SECTION}look/", {**typed, "language": "en"}))
    assert "<h2>…</h2>" in empty
    reads = writer.post(f"{SECTION}look/", {"body_en": "sip " * 21 + "now.", "show": "reads"})
    assert "(22 words)" in words_of(reads)
    assert latest(saved.draft).pk == saved.pk


@pytest.mark.parametrize("key", ["one", "number", "order", "match"])
def test_a_question_is_shown_as_it_is_typed_however_unfinished(writer: Client, key: str) -> None:
    lines = {"option-TOTAL_FORMS": "2", "option-INITIAL_FORMS": "0", "option-0-text_en": "Sips"}
    typed = {"stem_en": "How then?", "language": "en", **lines, "option-0-match_en": "Pair"}
    look = words_of(writer.post(f"/modules/every-kind/draft/question/{key}/1/look/", typed))
    assert "How then?" in look
    assert ("Sips" in look) is (key != "number")
    assert Edition.objects.count() == 1
