"""What a patient does with a phone, and what arrives in a patient's mailbox."""

import re
import tomllib
from dataclasses import dataclass, field
from datetime import date
from functools import cache
from pathlib import Path
from typing import Any

from playwright.sync_api import Locator, Page, expect

from tests.mailbox import Mailbox, Received

STARTER = Path(__file__).resolve().parents[2] / "education" / "starter"
ADDRESS = re.compile(r"https?://[^\s\"<>]+")


@dataclass(frozen=True)
class Words:
    """What stands on the buttons that a patient presses."""

    begin: str
    again: str
    save: str
    go_on: str
    hand_in: str
    passed: str
    not_yet: str


IN = {
    "en": Words(
        "Begin the questions",
        "Take the quiz again",
        "Save and continue",
        "Continue",
        "Hand in",
        "You passed",
        "Not passed yet",
    ),
    "es": Words(
        "Empezar las preguntas",
        "Hacer el cuestionario otra vez",
        "Guardar y seguir",
        "Continuar",
        "Entregar",
        "Usted aprobó",
        "Aún no aprobó",
    ),
}


# --- the mailbox ---------------------------------------------------------------------------------


def next_mail(mailbox: Mailbox, address: str, had: int) -> Received:
    """The first mail to an address after the `had` that had come before."""
    return mailbox.wait_for(address, had + 1, seconds=60)[had]


def link_in(mail: Received) -> str:
    """The one link of a mail. It is parsed by the standard library, as RFC 5322 and MIME say."""
    message = mail.message
    assert message.defects == []
    for header in ("Date", "From", "Message-ID"):  # RFC 5322, section 3.6: exactly one of each
        assert len(message.get_all(header, [])) == 1
    links = set(ADDRESS.findall(mail.text))
    html = message.get_body(("html",))
    if html is not None:
        links |= set(ADDRESS.findall(str(html.get_content())))
    assert len(links) == 1, links
    return str(links.pop())


# --- what is right, read from the module's own text -----------------------------------------------


@dataclass(frozen=True)
class Asked:
    """A version of a question in one language, with what is right: the options, the number, the
    items in their order, or each pair.
    """

    key: str
    kind: str
    safety_critical: bool
    options: dict[str, bool]
    number: str
    order: tuple[str, ...]
    pairs: dict[str, str]


@cache
def questions(language: str) -> dict[str, Asked]:
    """Every version of every question of the starter modules, by what is asked."""
    files = sorted(STARTER.glob("*.toml"))
    modules = [tomllib.loads(file.read_text(encoding="utf-8")) for file in files]
    return {
        version["stem"][language]: _asked({**question, **version}, language)
        for module in modules
        for question in module["question"]
        for version in (question, *question.get("version", []))
    }


def _asked(version: dict[str, Any], language: str) -> Asked:
    items = sorted(version.get("item", []), key=lambda item: int(item["place"]))
    return Asked(
        key=version["key"],
        kind=version["kind"],
        safety_critical=version["safety_critical"],
        options={o["text"][language]: o["right"] for o in version.get("option", [])},
        number=version.get("answer", ""),
        order=tuple(item["text"][language] for item in items),
        pairs={p["text"][language]: p["match"][language] for p in version.get("pair", [])},
    )


# --- the phone -----------------------------------------------------------------------------------


@dataclass
class Phone:
    """A patient's phone. Counts taps; a tap into a field to type there is part of the typing.

    To put in order takes a tap for each line, to match two; they are counted apart, in `arranging`.
    """

    page: Page
    language: str = "en"
    taps: int = field(default=0)
    arranging: int = field(default=0)

    @property
    def words(self) -> Words:
        """What stands on the buttons."""
        return IN[self.language]

    def follow(self, link: str) -> None:
        """Tap the link in the mail."""
        self.taps += 1
        self.page.goto(link)

    def tap(self, there: Locator) -> None:
        """Tap once."""
        self.taps += 1
        there.click()

    def press(self, words: str) -> None:
        """Press the page's main button, which says this, and wait for the page it leads to."""
        with self.page.expect_navigation():
            self.tap(self.page.get_by_role("button", name=words, exact=True))

    def begin(self) -> None:
        """Leave the letter for the first question."""
        self.press(self.words.begin)

    def asked(self) -> Asked:
        """The question that is on the page."""
        return questions(self.language)[self.page.get_by_role("heading", level=1).inner_text()]

    def answer(self, *, wrong: bool = False) -> str:
        """Answer the question on the page, and save. Returns the question's key."""
        asked = self.asked()
        if asked.kind == "number":
            typed = str(int(asked.number) + 3) if wrong else asked.number
            self.page.get_by_role("textbox").fill(typed)
        elif asked.kind == "order":
            self.place(asked.order[1:] + asked.order[:1] if wrong else asked.order)
        elif asked.kind == "match":
            matches = list(asked.pairs.values())
            turned = matches[1:] + matches[:1] if wrong else matches
            for line, match in zip(asked.pairs, turned, strict=True):
                self.arranging += 2  # the list, and the line in it
                self.page.get_by_label(line, exact=True).select_option(label=match)
        else:
            self.choose(asked, wrong=wrong)
        self.press(self.words.save)
        return asked.key

    def place(self, items: tuple[str, ...]) -> None:
        """Give each line its place."""
        for place, item in enumerate(items, start=1):
            line = self.page.get_by_role("group", name=item, exact=True)
            self.arranging += 1
            line.get_by_role("radio", name=str(place), exact=True).click()

    def choose(self, asked: Asked, *, wrong: bool) -> None:
        """Tap the right options, or one that is not."""
        chosen = [text for text, right in asked.options.items() if right is not wrong]
        for text in chosen[:1] if wrong else chosen:
            self.tap(self.page.locator("label.option").filter(has=self.page.get_by_text(text)))

    def answer_all(self, *, wrong: tuple[str, ...] = ()) -> int:
        """Answer question after question until none is left; returns how many there were."""
        number = 0
        while self.page.locator("progress").count():
            number += 1
            self.answer(wrong=self.asked().key in wrong)
        return number

    def type_name(self, given: str, family: str, born: date, month: str = "") -> None:
        """Type who one is; the month as a number, unless it is given in letters."""
        typed: dict[str, Any] = {
            "given_names": given,
            "family_names": family,
            "day": born.day,
            "month": month or born.month,
            "year": born.year,
        }
        for name, text in typed.items():
            self.page.locator(f"#{name}").fill(str(text))
        self.press(self.words.go_on)

    def hand_in(self) -> None:
        """Hand in what is on the check page."""
        self.press(self.words.hand_in)

    def expect_passed(self) -> None:
        """See that it was passed."""
        expect(self.page.get_by_role("heading", level=1)).to_have_text(self.words.passed)

    def expect_not_yet(self) -> None:
        """See that it was not passed."""
        expect(self.page.get_by_role("heading", level=1)).to_have_text(self.words.not_yet)
