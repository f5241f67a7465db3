"""What is published about telling patients apart, held against the identity rule."""

from dataclasses import fields
from datetime import date, timedelta

import pytest

from patients.rules.identity import Claim, Policy, Verdict, Why, decide
from patients.rules.in_memory import InMemoryRegister, Person

BORN = date(1980, 3, 12)
ANA = Person(1, "Ana", "Ruiz", BORN)
# A register on which nothing but the one claim's own person is like it.
CROWD = [
    Person(n, f"Q{chr(97 + n % 26)}z{chr(97 + n // 26)}", f"Falkenrath{n}", BORN + timedelta(n))
    for n in range(2, 300)
]


# PID-1. Source: Joint Commission, National Patient Safety Goal NPSG.01.01.01 (text of 2015), and
# standards FAQ 000001545: at least two identifiers; name and date of birth are two, a room or
# place is none; nutrition services are meant too.
@pytest.mark.parametrize(
    "claim, why",
    [
        (Claim("Ana", "Ruiz", None), "the name alone"),
        (Claim("", "", BORN), "the date of birth alone"),
        (Claim("Ana", "Ruiz", BORN + timedelta(days=4000)), "the name, and another date"),
        (Claim("Ottoline", "Zwart", BORN), "the date of birth, and another name"),
        (Claim("Ana", "Zwart", BORN), "half of the name"),
    ],
)
@pytest.mark.parametrize("link", [None, 1])
def test_pid_1_one_identifier_never_matches(claim: Claim, why: str, link: int | None) -> None:
    """Not even through the patient's own link, which says by what way it came, not who came."""
    decision = decide(claim, InMemoryRegister([ANA, *CROWD]), link_person_id=link)
    assert decision.verdict != Verdict.AUTOMATIC, why


def test_pid_1_two_identifiers_match_and_are_named_as_reasons() -> None:
    decision = decide(Claim("Ana", "Ruiz", BORN), InMemoryRegister([ANA, *CROWD]))
    assert (decision.verdict, decision.person_id) == (Verdict.AUTOMATIC, 1)
    assert {Why.NAME_EQUAL, Why.BIRTH_DATE_EQUAL} <= set(decision.reasons)


def test_pid_1_a_place_is_no_identifier() -> None:
    assert {field.name for field in fields(Claim)} == {"given_names", "family_names", "birth_date"}


# PID-2. Source: "Matching identifiers in electronic health records", J. Am. Med. Inform. Assoc.
# 2013, abstract: in five organisations 0.16 to 15.47 % of the records have first name, last name
# and date of birth in common with another one.
@pytest.mark.parametrize("share", [0.0016, 0.1547])
@pytest.mark.parametrize("policy", Policy)
def test_pid_2_who_shares_name_and_date_of_birth_is_never_told_apart_by_them(
    share: float, policy: Policy
) -> None:
    pairs = max(round(len(CROWD) * share / 2), 1)
    doubles = [
        Person(1000 + n, one.given_names, one.family_names, one.birth_date)
        for n, one in enumerate(CROWD[:pairs])
    ]
    register = InMemoryRegister([*CROWD, *doubles])
    for one in CROWD[:pairs]:
        claim = Claim(one.given_names, one.family_names, one.birth_date)
        decision = decide(claim, register, policy=policy)
        assert decision.verdict == Verdict.REVIEW
        assert Why.MORE_THAN_ONE_FITS in decision.reasons
        assert len({candidate.person_id for candidate in decision.candidates[:2]}) == 2


def test_pid_2_a_link_does_not_tell_doubles_apart_either() -> None:
    double = Person(2000, ANA.given_names, ANA.family_names, BORN)
    register = InMemoryRegister([ANA, double, *CROWD])
    decision = decide(Claim("Ana", "Ruiz", BORN), register, link_person_id=1)
    assert (decision.verdict, decision.reasons) == (Verdict.REVIEW, (Why.MORE_THAN_ONE_FITS,))
