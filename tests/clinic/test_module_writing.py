"""Writing a module on its pages: from a new title to an edition that patients read."""

import re
from html import unescape
from typing import Any

import pytest
from django.test import Client

from clinic.once import new_key
from education.drafting import begin_draft, latest, open_draft
from education.models import DraftSave, Edition, Module, ModuleDraft
from education.rules.module_text import read_record
from patients.clock import now
from tests.education.every_kind import EVERY_KIND, KINDS
from tests.factories import (
    a_member,
    a_procedure,
    a_programme,
    an_assignment,
    an_edition,
    signed_in,
)

pytestmark = pytest.mark.django_db

DRAFT = "/modules/every-kind/draft/"


@pytest.fixture
def writer() -> Client:
    a_programme()
    an_edition(EVERY_KIND)
    dietitian = a_member("dietitian", name="Imogen Tallis")
    begin_draft("every-kind", at=now(), by_id=dietitian.pk)
    return signed_in(dietitian)


def content(code: str = "every-kind") -> dict[str, Any]:
    draft = open_draft(code)
    assert draft is not None
    said: dict[str, Any] = latest(draft).content
    return said


def send(client: Client, page: str, **form: Any) -> Any:
    """Send a form as its page has it: the save that it was made from, and the key of the act."""
    draft = ModuleDraft.objects.filter(end__isnull=True).last()
    seen = {"seen": latest(draft).number} if draft else {}
    return client.post(page, {"act_key": new_key(), **seen, **form})


def fields_of(client: Client, page: str) -> dict[str, str]:
    """Return what the fields of a page hold, as a browser would send them unchanged."""
    html = client.get(page).content.decode().split("<main")[1]
    found: dict[str, str] = {}
    for tag in re.findall(r"<input[^>]*>", html):
        at = {name: unescape(value) for name, value in re.findall(r'([\w-]+)="([^"]*)"', tag)}
        ticked = at.get("type") not in ("checkbox", "radio") or "checked" in tag
        if "name" in at and ticked:
            found[at["name"]] = at.get("value", "on" if at.get("type") == "checkbox" else "")
    for name, text in re.findall(
        r'<textarea[^>]*name="([^"]+)"[^>]*>\s*(.*?)</textarea>', html, re.S
    ):
        found[name] = unescape(text)
    for name, inside in re.findall(r'<select[^>]*name="([^"]+)"[^>]*>(.*?)</select>', html, re.S):
        chosen = re.search(r'value="([^"]*)" selected', inside)
        found[name] = chosen[1] if chosen else ""
    return {name: value for name, value in found.items() if name != "csrfmiddlewaretoken"}


def pages_of(said: dict[str, Any]) -> list[str]:
    """The page of every part of a draft."""
    sections = [f"{DRAFT}section/{one['key']}/" for one in said["section"]]
    questions = [
        f"{DRAFT}question/{one['key']}/{version}/"
        for one in said["question"]
        for version in range(1, len(one.get("version", [])) + 2)
    ]
    return [f"{DRAFT}title/", *sections, *questions]


def test_every_part_saved_as_its_page_shows_it_says_the_same(writer: Client) -> None:
    """No page of the editor may change what it was not asked to change."""
    before = read_record(content())
    for page in pages_of(content()):
        answer = writer.post(page, {**fields_of(writer, page), "act_key": new_key()})
        assert answer.status_code == 302, (page, unescape(answer.content.decode())[-3000:])
    assert read_record(content()) == before


def test_a_module_is_written_from_nothing_and_published(writer: Client) -> None:
    answer = send(writer, "/new-module/", title_en="Small Sips", title_es="", pass_mark="80")
    assert answer["Location"] == "/modules/small-sips/draft/"
    page = answer["Location"]
    words = {"heading_en": "How", "body_en": "<p>Take <b>small</b> sips.</p>"}
    answer = send(writer, f"{page}section/new/", **words)
    assert answer["Location"] == f"{page}section/how/"
    assert content("small-sips")["section"][0]["body"]["en"] == "Take small sips."
    answer = send(writer, f"{page}question/", kind="order")
    at = answer["Location"]
    shown = writer.get(at).content.decode()
    assert "It is kept, but cannot be published like this yet." in shown
    lines = {"option-TOTAL_FORMS": "3", "option-INITIAL_FORMS": "0"}
    for number, text in enumerate(("Sit", "Sip", "Wait")):
        lines |= {f"option-{number}-text_en": text, f"option-{number}-place": str(number + 1)}
    asked = {"stem_en": "In which order?", "explanation_en": "So.", "section": "how"}
    tied = send(writer, at, **asked, **{**lines, "option-2-place": "2"})
    assert tied.status_code == 302
    assert "the same place 2; an order has no ties" in unescape(writer.get(at).content.decode())
    send(writer, at, **asked, **lines)
    overview = writer.get(page).content.decode()
    assert "Ready to be published." in overview
    assert send(writer, f"{page}publish/").status_code == 422, "what becomes of clearances is asked"
    answer = send(writer, f"{page}publish/", earlier="count")
    assert answer["Location"] == "/modules/small-sips/"
    edition = Edition.objects.get(module__code="small-sips")
    assert [o.text["en"] for o in edition.questions.get().options.all()] == ["Sit", "Sip", "Wait"]


@pytest.mark.parametrize(
    "part, typed, field, told",
    [
        ("question/one/1/", {"option-0-right": None}, "", "No answer is marked as right."),
        ("question/one/1/", {"stem_es": ""}, "id_stem_es", "Nothing is written here yet."),
        (
            "question/one/1/",
            {"option-1-text_es": ""},
            "id_option-1-text_es",
            "Nothing is written here yet.",
        ),
        ("question/one/2/", {"stem_en": ""}, "id_stem_en", "Nothing is written here yet."),
        ("question/number/1/", {"unit_en": ""}, "id_unit_en", "Nothing is written here yet."),
        (
            "question/number/1/",
            {"answer": "many"},
            "id_answer",
            "Type a number, such as 64 or 1.5.",
        ),
        ("question/match/1/", {"option-1-match_en": "all DAY"}, "", "have the same match"),
        ("section/how/", {"heading_en": ""}, "id_heading_en", "Nothing is written here yet."),
        (
            "title/",
            {"pass_mark": "101"},
            "id_pass_mark",
            "Nobody can get more than 100 per cent right.",
        ),
    ],
)
def test_what_is_wrong_is_kept_and_said_beside_its_field(
    writer: Client, part: str, typed: dict[str, str | None], field: str, told: str
) -> None:
    form = {**fields_of(writer, DRAFT + part), **typed, "act_key": new_key()}
    sent = {name: value for name, value in form.items() if value is not None}
    assert writer.post(DRAFT + part, sent).status_code == 302
    page = unescape(writer.get(DRAFT + part).content.decode())
    assert told in page
    if field:
        assert f'href="#{field}"' in page
        assert f'id="{field}"' in page
    assert "in the way</strong> of publishing it" in writer.get(DRAFT).content.decode()
    assert send(writer, f"{DRAFT}publish/", earlier="count")["Location"] == DRAFT
    assert Edition.objects.filter(module__code="every-kind").count() == 1


def test_a_sentence_that_is_too_long_is_marked_and_blocks_nothing(writer: Client) -> None:
    form = fields_of(writer, f"{DRAFT}section/how/") | {"body_en": "sip " * 21 + "now."}
    writer.post(f"{DRAFT}section/how/", {**form, "act_key": new_key()})
    assert "(22 words)" in writer.get(f"{DRAFT}section/how/").content.decode()
    assert "Ready to be published." in writer.get(DRAFT).content.decode()


def test_what_is_too_long_is_shown_again_and_not_kept(writer: Client) -> None:
    form = {**fields_of(writer, f"{DRAFT}section/how/"), "heading_en": "x" * 301}
    answer = writer.post(f"{DRAFT}section/how/", {**form, "act_key": new_key()})
    assert answer.status_code == 422
    assert "x" * 301 in answer.content.decode()
    assert DraftSave.objects.count() == 1


def test_what_somebody_saved_meanwhile_is_not_written_over(writer: Client) -> None:
    page = f"{DRAFT}section/how/"
    old = fields_of(writer, page)
    send(writer, f"{DRAFT}title/", title_en="Every kind", title_es="Todas", pass_mark="70")
    answer = writer.post(page, {**old, "heading_en": "My words", "act_key": new_key()})
    assert answer.status_code == 409
    assert "My words" in answer.content.decode()
    assert "Imogen Tallis" in answer.content.decode()
    assert content()["section"][0]["heading"]["en"] == "How to drink"


def test_parts_are_moved_taken_out_and_taken_back(writer: Client) -> None:
    def keys() -> list[str]:
        return [one["key"] for one in content()["question"]]

    arrange = f"{DRAFT}arrange/"
    send(writer, arrange, act="down", what="question", key="one")
    assert keys()[:2] == ["several", "one"]
    send(writer, arrange, act="remove", what="question", key="match")
    assert "match" not in keys()
    send(writer, arrange, act="add_version", key="order")
    assert len(content()["question"][4]["version"]) == 1
    send(writer, arrange, act="remove_version", key="order", number="2")
    send(writer, arrange, act="back", number="1")
    assert keys() == list(KINDS)


@pytest.mark.parametrize("number", range(len(KINDS) + 3))
def test_the_preview_is_the_patients_page_and_leaves_nothing(writer: Client, number: int) -> None:
    page = writer.get(f"{DRAFT}preview/?question={number}&language=es")
    assert page.status_code == 200
    said = unescape(page.content.decode())
    assert ("Cómo beber" in said) is (number == 0)
    assert "<script" not in said
    assert Edition.objects.count() == 1
    assert Module.objects.count() == 1


def test_a_second_person_reads_it_where_the_programme_wants_it(writer: Client) -> None:
    a_programme(teaching_needs_review=True)
    send(writer, f"{DRAFT}title/", title_en="Every kind", title_es="Todas", pass_mark="70")
    assert "Waits for a second person." in writer.get(DRAFT).content.decode()
    assert "Keep my review" not in writer.get(DRAFT).content.decode()
    send(writer, f"{DRAFT}publish/", earlier="count")
    assert Edition.objects.count() == 1
    other = signed_in("clinician")
    assert send(other, f"{DRAFT}review/", agrees="no").status_code == 422
    send(other, f"{DRAFT}review/", agrees="yes")
    overview = unescape(writer.get(DRAFT).content.decode())
    assert "Ready to be published." in overview
    assert "Pass mark (50 % → 70 %)" in re.sub(r"</?strong>", "", overview)
    send(writer, f"{DRAFT}publish/", earlier="end")
    assert Edition.objects.last().earlier_clearances_count is False  # type: ignore[union-attr]


def test_archiving_and_the_way_back(writer: Client) -> None:
    page = "/modules/every-kind/archive/"
    send(writer, page, archived="yes")
    assert "In the archive" in writer.get("/modules/").content.decode()
    a_procedure()
    offered = signed_in("administrator")
    assert "Every kind" not in offered.get("/requirements/").content.decode()
    send(writer, page, archived="no")
    assert "Every kind" in offered.get("/requirements/").content.decode()
    assert "In the archive" not in writer.get("/modules/").content.decode()
    an_assignment(module=Module.objects.get())
    send(writer, page, archived="yes")
    assert "In the archive" not in writer.get("/modules/").content.decode()
