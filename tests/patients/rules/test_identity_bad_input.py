"""What nobody would type, and somebody did: the engine gives a decision with reasons, or none fits.

Whatever it is, nothing of it may be matched without a person unless name and date of birth are
the record's. All people are invented.
"""

from collections.abc import Iterator
from datetime import date, timedelta
from itertools import product

import pytest

from patients.rules.identity import (
    SHOWN,
    Born,
    Candidate,
    Claim,
    Decision,
    Policy,
    Verdict,
    Why,
    WrittenDate,
    decide,
)
from patients.rules.in_memory import InMemoryRegister, Person
from patients.rules.rehearsal import answer
from patients.rules.rehearsal_files import Asked

LEAP_DAY = date(1988, 2, 29)
BORN = date(1980, 3, 12)
LONG = "Maximiliane" * 18 + "Ma"  # 200 letters
MANY_WORDS = "a b" * 66 + "a "

NAMES = {
    "empty": "",
    "blank": "   ",
    "one letter": "A",
    "200 letters": LONG,
    "200 signs in many words": MANY_WORDS,
    "Chinese": "小明",
    "Arabic": "محمد",
    "Hebrew": "שָׂרָה",
    "Devanagari": "प्रिया",
    "Cyrillic": "Ольга",
    "Greek": "Ελένη",
    "Thai": "สมชาย",
    "apostrophes only": "'’ʼ",
    "punctuation only": "-.,;:!?()",
    "titles only": "Dr. Mr.",
    "emoji": "🙂🙂",
    "right-to-left override": "\u202eanA",
    "NUL": "A\0na",
    "line ends": "A\r\nna",
    "combining marks only": "\u0301\u0301",
    "digits": "12345",
    "separators of other formats": "RUIZ^ANA|&~\\",
    "a formula": '=HYPERLINK("x")',
    "markup": "<b>Ana</b>",
}
DATES: dict[str, Born] = {
    "a date": BORN,
    "29 February": LEAP_DAY,
    "29 February of a common year": WrittenDate(1981, 2, 29),
    "30 February": WrittenDate(1990, 2, 30),
    "month 13": WrittenDate(1990, 13, 1),
    "zeros": WrittenDate(0, 0, 0),
    "nines": WrittenDate(9999, 99, 99),
    "the future": date(2126, 1, 1),
    "the last day of all": date.max,
    "the first day of all": date.min,
    "none": None,
}

REGISTER = InMemoryRegister(
    [
        *(Person(name, text, "Ruiz", BORN) for name, text in NAMES.items()),
        *(Person(f"{name}, one field", text, "", LEAP_DAY) for name, text in NAMES.items()),
        Person("nobody", "", "", None),
        Person("undated", "Ana", "Ruiz", None),
    ]
)


def outcome(decision: Decision) -> Candidate | None:
    """Check what holds of every decision; return the first candidate."""
    assert decision.reasons
    assert (decision.person_id is not None) == (decision.verdict == Verdict.AUTOMATIC)
    assert len(decision.candidates) <= SHOWN
    return decision.candidates[0] if decision.candidates else None


@pytest.mark.parametrize("born", DATES.values(), ids=DATES)
@pytest.mark.parametrize("name", NAMES.values(), ids=NAMES)
def test_any_name_with_any_date_gets_a_decision(name: str, born: Born) -> None:
    for given_names, family_names in ((name, "Ruiz"), ("Ruiz", name), (name, ""), (name, name)):
        decision = decide(Claim(given_names, family_names, born), REGISTER)
        outcome(decision)
        if decision.verdict == Verdict.AUTOMATIC:
            assert born in (BORN, LEAP_DAY)
            assert Why.BIRTH_DATE_EQUAL in decision.reasons


@pytest.mark.parametrize("born", [b for b in DATES.values() if not isinstance(b, date)])
def test_without_a_date_that_exists_nothing_is_automatic(born: Born) -> None:
    """Also where the record has no date either; a record's date is always one of the calendar."""
    for recorded, link, policy in product((BORN, LEAP_DAY, None), (None, "hers"), Policy):
        decision = decide(
            Claim("Ottoline", "Zwart", born),
            InMemoryRegister([Person("hers", "Ottoline", "Zwart", recorded)]),
            link_person_id=link,
            policy=policy,
        )
        first = outcome(decision)
        assert decision.verdict == Verdict.REVIEW
        assert first is not None
        assert first.person_id == "hers"


@pytest.mark.parametrize("name", ["", " ", "'", "-.", "\u0301", "🙂"])
def test_who_has_no_name_is_nobody(name: str) -> None:
    """A name of nothing is equal to a name of nothing; that is no agreement."""
    register = InMemoryRegister([Person(1, name, name, BORN)])
    decision = decide(Claim(name, "", BORN), register)
    outcome(decision)
    assert decision.verdict != Verdict.AUTOMATIC


@pytest.mark.parametrize(
    "name",
    [
        text
        for name, text in NAMES.items()
        if name in {"Chinese", "Arabic", "Hebrew", "Devanagari", "Cyrillic", "Greek", "Thai"}
    ],
)
def test_a_name_in_another_script_is_a_name(name: str) -> None:
    other = Person(2, "Ana", "Falkenrath", date(1971, 1, 1))
    register = InMemoryRegister([Person(1, name, "", BORN), other])
    decision = decide(Claim("", name, BORN), register)
    outcome(decision)
    assert (decision.verdict, decision.person_id) == (Verdict.AUTOMATIC, 1)
    assert decide(Claim(name[:-1], "", BORN), register).verdict != Verdict.AUTOMATIC


def test_a_long_name_that_is_equal_is_equal() -> None:
    register = InMemoryRegister([Person(1, LONG, LONG, BORN)])
    assert decide(Claim(LONG, LONG, BORN), register).person_id == 1
    assert decide(Claim(LONG[:-2], LONG, BORN), register).verdict == Verdict.REVIEW


def test_29_february_is_a_date_like_another() -> None:
    register = InMemoryRegister([Person(1, "Ottoline", "Zwart", LEAP_DAY)])
    assert decide(Claim("Ottoline", "Zwart", LEAP_DAY), register).person_id == 1
    for typed in (date(1988, 2, 28), date(1988, 3, 1), WrittenDate(1987, 2, 29)):
        assert decide(Claim("Ottoline", "Zwart", typed), register).verdict == Verdict.REVIEW


def ways_to_type() -> Iterator[Claim]:
    """Ten thousand claims of one patient, hers and mistyped."""
    for n in range(10_000):
        given_names = "Ottoline" if n % 3 else "Otoline"
        born = BORN + timedelta(days=n % 7)
        yield Claim(given_names, "Zwart" if n % 5 else "ZWART", born)


def test_ten_thousand_claims_for_one_patient_each_get_their_own_answer() -> None:
    crowd = [Person(f"x{n}", f"Quentin{n}", f"Falk{n}", BORN) for n in range(50)]
    register = InMemoryRegister([Person("one", "Ottoline", "Zwart", BORN), *crowd])
    claims = [Asked(str(n), claim) for n, claim in enumerate(ways_to_type())]
    answers = [answer(asked, register, Policy.NAME_AND_BIRTH_DATE) for asked in claims]
    for asked, one in zip(claims, answers, strict=True):
        hers = asked.claim.given_names == "Ottoline" and asked.claim.birth_date == BORN
        assert one.claim_id == asked.claim_id
        assert (one.decision.verdict == Verdict.AUTOMATIC) == hers
        assert one.decision.candidates[0].person_id == "one"
