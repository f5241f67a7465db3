"""What is typed survives signing in again (promise T1, fault 9)."""

from typing import Any

import pytest
from django.test import Client

from clinic.filled_form import filled
from clinic.once import new_key
from clinic.typed_before import KEPT
from education.drafting import begin_draft, latest, open_draft, save
from patients.clock import now
from tests.clinic.test_sign_in import sign_in
from tests.education.every_kind import EVERY_KIND
from tests.factories import a_member, a_programme, an_edition

PAGE = "/modules/every-kind/draft/section/how/"
HOST = "http://testserver"


def test_only_the_form_that_was_sent_is_filled() -> None:
    """Every kind of control of HTML that a form of staff's has; the rest of the page as it was."""
    html = (
        '<form method="post" action="/b/"><input name="a" value="1"></form>\n'
        '<form method="post"><input type="hidden" name="key" value="k">'
        '<input name="a" value="1"><textarea name="t" rows="2">\nold</textarea>'
        '<input type="checkbox" name="c" checked><input type="radio" name="r" value="x" checked>'
        '<input type="radio" name="r" value="y"><input type="file" name="f">'
        '<select name="s"><option value="1" selected>One<option value="2">Two</select></form>'
    )
    typed = {
        "a": ['"é<'],
        "t": ["new </textarea>"],
        "r": ["y"],
        "s": ["2"],
        "key": ["z"],
        "q": ["?"],
    }
    again = filled(html, page="/a/", action="/a/", typed=typed, keep={"key"})
    assert again.left == ("q",)
    assert again.html == (
        '<form method="post" action="/b/"><input name="a" value="1"></form>\n'
        '<form method="post"><input type="hidden" name="key" value="k">'
        '<input name="a" value="&quot;é&lt;"><textarea name="t" rows="2">\nnew &lt;/textarea&gt;'
        '</textarea><input type="checkbox" name="c"><input type="radio" name="r" value="x">'
        '<input type="radio" name="r" value="y" checked><input type="file" name="f">'
        '<select name="s"><option value="1">One<option value="2" selected>Two</select></form>'
    )


@pytest.fixture
def browser(db: None) -> Client:
    """A browser whose session of Imogen's has just ended, with her page still open."""
    a_programme()
    an_edition(EVERY_KIND)
    imogen = a_member("dietitian", name="Imogen Tallis", email="imogen@larkfield.example")
    begin_draft("every-kind", at=now(), by_id=imogen.pk)
    client = Client()
    sign_in(client, imogen)
    client.get(PAGE)
    client.session.flush()
    del client.cookies["sessionid"]
    return client


def type_into(client: Client, page: str = PAGE, **typed: Any) -> Any:
    form = {"act_key": new_key(), "seen": "1", "heading_en": "Sips", **typed}
    return client.post(page, form, headers={"referer": HOST + PAGE})


def come_back(client: Client, email: str, answer: Any) -> str:
    from_there = {"username": email, "password": "a-long-walk-to-larkfield"}
    where = client.post(answer["Location"], from_there)["Location"]
    return client.get(where).content.decode()


def test_it_is_in_the_form_again_and_nothing_is_sent_by_itself(browser: Client) -> None:
    answer = type_into(browser, body_en="Take <em>small</em> sips.\nThen wait.", sources="A table")
    assert answer["Location"] == f"/sign-in/?next={PAGE}"
    assert "What you typed is kept." in browser.get(answer["Location"]).content.decode()
    page = come_back(browser, "imogen@larkfield.example", answer)
    assert "Take &lt;em&gt;small&lt;/em&gt; sips.\nThen wait.</textarea>" in page
    assert 'value="Sips"' in page
    assert "Nothing was saved yet." in page
    draft = open_draft("every-kind")
    assert draft is not None
    assert latest(draft).number == 1
    assert "Sips" not in browser.get(PAGE).content.decode(), "it is kept once"


def test_what_somebody_saved_meanwhile_is_still_not_written_over(browser: Client) -> None:
    answer = type_into(browser)
    draft = open_draft("every-kind")
    assert draft is not None
    changed = {**latest(draft).content, "pass_mark": 77}
    save(draft, changed, seen=1, at=now(), by_id=draft.by_id)
    page = come_back(browser, "imogen@larkfield.example", answer)
    assert 'name="seen" value="1"' in page.replace('type="hidden" ', ""), "the page's own is 2"


def test_nobody_else_is_shown_it(browser: Client) -> None:
    other = a_member("administrator", email="henrike@larkfield.example")
    page = come_back(browser, other.email, type_into(browser, sources="A secret"))
    assert "A secret" not in page
    assert "Nothing was saved yet." not in page
    assert KEPT not in browser.session


@pytest.mark.django_db
def test_a_stranger_cannot_leave_anything() -> None:
    """Without the cookie that says who was signed in, nothing is kept and no session begun."""
    client = Client()
    answer = client.post(PAGE, {"body_en": "x" * 200})
    assert answer["Location"].startswith("/sign-in/?next=")
    assert "sessionid" not in client.cookies


def test_a_key_of_an_earlier_session_loses_nothing_either(browser: Client) -> None:
    """Signed in again in another window: the open page's key does not count any more."""
    imogen = {"username": "imogen@larkfield.example", "password": "a-long-walk-to-larkfield"}
    strict = Client(enforce_csrf_checks=True)
    strict.cookies = browser.cookies
    browser.post("/sign-in/", imogen)
    old = {"csrfmiddlewaretoken": "x" * 32, "act_key": new_key(), "heading_en": "Sips", "seen": "1"}
    foreign = strict.post(PAGE, old, headers={"origin": "https://elsewhere.example"})
    assert foreign.status_code == 403
    assert "What you typed is kept" not in foreign.content.decode()
    answer = strict.post(PAGE, old, headers={"origin": HOST, "referer": HOST + PAGE})
    assert answer.status_code == 403
    assert f'href="{PAGE}"' in answer.content.decode()
    assert 'value="Sips"' in strict.get(PAGE).content.decode()
