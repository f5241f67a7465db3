"""A third language, from a folder outside the code to a patient's page and email.

The French words are ours; the month's name is the Unicode locale data's (CLDR), by babel.
"""

from collections.abc import Iterator
from datetime import date, timedelta
from pathlib import Path

import pytest
from babel.dates import format_date
from babel.messages.pofile import read_po, write_po
from django.core.exceptions import ImproperlyConfigured
from django.core.management import call_command
from django.test import override_settings
from django.utils import translation

from clinic.forms.correct import CorrectForm
from clinic.forms.module_draft import SectionForm
from clinic.languages import offer_languages
from clinic.models import Role
from clinic.reading_words import verdict
from clinic.settings import BASE_DIR
from education.emails import rendered
from education.rules.reading import readings
from education.translations import compiled
from education.untranslated import of_interface, of_modules
from education.views.opening import not_found_page
from education.written_days import long_day
from patients.clock import now
from patients.import_schedule import apply
from patients.models import Patient
from patients.rules.languages import offer
from tests.education.phone import Phone, words
from tests.factories import (
    a_procedure,
    a_programme,
    an_assignment,
    an_edition,
    an_invitation,
    signed_in,
)

pytestmark = pytest.mark.django_db

MODULE = """
code = "sips"
pass_mark = 80
title = {en = "Sips", fr = "Gorgées"}
[[section]]
key = "why"
heading = {en = "Small sips", fr = "Petites gorgées"}
body = {en = "Drink slowly.", fr = "Buvez lentement."}
[[question]]
key = "q"
kind = "true_false"
safety_critical = false
section = "why"
stem = {en = "Statement one is true.", fr = "La phrase est vraie."}
explanation = {en = "It is.", fr = "Oui."}
[[question.option]]
key = "true"
text = {en = "True", fr = "Vrai"}
right = true
[[question.option]]
key = "false"
text = {en = "False", fr = "Faux"}
right = false
"""

FILE = '[fr]\nname = "French"\nown_name = "Français"\ncalled = ["fre"]\ndirection = "ltr"\n'
SAID = {
    "Begin the questions": "Commencer les questions",
    "Your personal link": "Votre lien personnel",
    "There is no such page": "Cette page n’existe pas",
}


@pytest.fixture
def folder(tmp_path: Path) -> Iterator[Path]:
    """A folder of languages, offered as the settings offer it."""
    (tmp_path / "languages.toml").write_text(FILE, encoding="utf-8")
    before = offer(())
    languages = offer_languages(tmp_path)
    paths = [BASE_DIR / "education" / "locale", tmp_path]
    with override_settings(LANGUAGES=languages, LOCALE_PATHS=paths, LANGUAGES_DIR=tmp_path):
        yield tmp_path
    offer(before)


def translate(folder: Path) -> None:
    """Make the catalogue by the command, and write a few translations into it."""
    call_command("translations", "--language", "fr", verbosity=0)
    path = folder / "fr" / "LC_MESSAGES" / "django.po"
    with path.open("rb") as file:
        catalogue = read_po(file, locale="fr")
    for english, french in SAID.items():
        catalogue[english].string = french
    with path.open("wb") as file:
        write_po(file, catalogue)
    path.with_suffix(".mo").write_bytes(compiled(catalogue))  # as the command does once more
    # Django keeps what it read of a catalogue; a process that starts reads it anew.
    translation.trans_real._translations = {}  # type: ignore[attr-defined]


def test_from_the_file_to_a_patients_page(folder: Path) -> None:
    translate(folder)
    a_programme()
    a_procedure()
    on = now().date() + timedelta(days=30)
    # An import's column names it as the file says.
    rows = (
        "MRN,Family name,Given names,Date of birth,Procedure,OR date,Language,Email\n"
        f"M-1,Quill,Tobias,1980-02-13,Sleeve gastrectomy,{on},FRE,tq@example.org\n"
    )
    apply(rows.encode(), day_first=False, at=now(), name="x.csv")
    patient = Patient.objects.get()
    assert patient.language == "fr"
    assert 'value="fr"' in str(CorrectForm(on=date(2027, 1, 1))["language"])

    # A module with a third language: its readers get it on a page that says so.
    edition = an_edition(MODULE)
    assert edition.languages == ["en", "fr"]
    assert {"heading_fr", "body_fr"} <= set(SectionForm().fields)
    operation = patient.operations.get()
    phone = Phone(*an_invitation(assignment=an_assignment(operation=operation), at=now()))
    page = words(phone.open("?l=fr"))
    assert '<html lang="fr">' in page
    assert "Français</button>" in page
    assert "Commencer les questions" in page
    assert "Petites gorgées" in page
    assert "Your surgical team comes first" in page  # not translated yet: English
    phone.client.cookies["lang"] = "fr"
    phone.begin()
    phone.answer_all()
    phone.type_name(month="août")
    assert format_date(date(1971, 8, 23), "long", locale="fr") in words(phone.open("check/"))

    # Emails, dates, pages that are none; and what is missing is listed.
    for email in ("invitation", "plan"):
        subject, _, html = rendered(email, "fr", {"link": "https://x.invalid/"})
        assert subject == "Votre lien personnel"
        assert 'lang="fr"' in html
    preview = words(signed_in(Role.DIETITIAN).get("/mail/texts/plan/fr/"))
    assert "Votre lien personnel" in preview
    with translation.override("fr"):
        assert long_day(date(2027, 3, 16)) == "mardi 16 mars 2027"
    assert "Cette page n’existe pas" in not_found_page().content.decode()
    missing = of_interface("fr")
    assert missing.there
    assert "Hand in" in missing.texts
    assert "Your personal link" not in missing.texts
    assert [one.code for one in of_modules("es")] == ["sips"]
    assert of_modules("fr") == []
    page = words(signed_in(Role.AUDITOR).get("/not-translated/"))
    assert "French" in page
    assert "Statement" in page

    # No formula for French is known: it says so, and gives no grade.
    read = readings("Buvez lentement. " * 60, "fr")
    assert (read.grade, read.huerta, read.hard_words) == (None, None, ())
    assert "French" in verdict(read)


def test_a_file_that_is_none_is_refused_with_its_reason(tmp_path: Path) -> None:
    (tmp_path / "languages.toml").write_text("[french]")
    with pytest.raises(ImproperlyConfigured, match="no code of a language"):
        offer_languages(tmp_path)
