"""The demo's mail tray: shown in the demo, absent everywhere else."""

from datetime import UTC, datetime
from pathlib import Path

import pytest
from django.core.mail import EmailMessage
from django.test import Client
from django.urls import reverse
from pytest_django import Settings

from clinic.mail_folder import Backend
from patients import programme

pytestmark = pytest.mark.django_db

LINK = "http://127.0.0.1:8000/q/abc_DEF-123/"


@pytest.fixture
def tray(settings: Settings, tmp_path: Path) -> Path:
    """A demo's data folder with two mails in it, the programme founded in Denver."""
    settings.DATA_DIR = tmp_path
    settings.MAIL_FOLDER = tmp_path / "mail"
    settings.MAIL_TRAY = True
    programme.found(
        name="Thistle Fork",
        time_zone="America/Denver",
        phone="303-555-0100",
        at=datetime(2027, 1, 4, 16, tzinfo=UTC),
    )
    for to in ("first@example.org", "second@example.org"):
        mail = EmailMessage("Für Sie", f"Open this: {LINK}\n<b>not bold</b>", "a@b.example", [to])
        mail.extra_headers["Date"] = "Tue, 05 Jan 2027 15:30:00 +0000"
        Backend().send_messages([mail])
    return tmp_path / "mail"


@pytest.mark.parametrize("shown, folder", [(False, True), (True, False), (False, False)])
def test_outside_the_demo_there_is_no_tray(
    client: Client, settings: Settings, tray: Path, shown: bool, folder: bool
) -> None:
    settings.MAIL_TRAY = shown
    settings.MAIL_FOLDER = tray if folder else None
    name = next(tray.glob("*.eml")).stem
    assert client.get(reverse("mail-tray")).status_code == 404
    assert client.get(reverse("mail-tray-message", args=[name])).status_code == 404


def test_by_itself_the_setting_is_off(settings: Settings) -> None:
    assert settings.MAIL_TRAY is False


def test_mails_are_listed_newest_first_in_the_programmes_time(client: Client, tray: Path) -> None:
    page = client.get(reverse("mail-tray")).content.decode()
    assert page.index("second@example.org") < page.index("first@example.org")
    assert "Für Sie" in page
    assert "Tue 5 Jan 2027, 08:30" in page  # 15:30 UTC; Denver is 7 hours behind in winter


def test_a_mail_shows_its_text_with_the_link_to_follow(client: Client, tray: Path) -> None:
    name = min(tray.glob("*.eml")).stem
    page = client.get(reverse("mail-tray-message", args=[name])).content.decode()
    assert f'<a href="{LINK}"' in page
    assert "first@example.org" in page
    assert "&lt;b&gt;not bold" in page


def test_a_name_that_is_no_mail_is_not_found(client: Client, tray: Path) -> None:
    (tray.parent / "secret.eml").write_text("Subject: no\n\nno")
    for name in ("secret", "..", "20270105T000000000000Z-00000000"):
        assert client.get(f"/mail-tray/{name}/").status_code == 404


def test_an_empty_tray_says_so(client: Client, tray: Path) -> None:
    for path in tray.iterdir():
        path.unlink()
    assert "No mail has gone out yet" in client.get(reverse("mail-tray")).content.decode()


def test_the_number_of_queries_does_not_grow(
    client: Client, tray: Path, django_assert_max_num_queries: object
) -> None:
    for number in range(30):
        mail = EmailMessage("One more", LINK, "a@b.example", [f"p{number}@example.org"])
        Backend().send_messages([mail])
    with django_assert_max_num_queries(3):  # type: ignore[operator]
        client.get(reverse("mail-tray"))
