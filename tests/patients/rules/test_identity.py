"""Whose claim is it, row by row: automatic, for a person, or nobody's.  All people are invented."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from itertools import permutations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from patients.rules.identity import (
    Candidate,
    Claim,
    Decision,
    Person,
    Policy,
    Verdict,
    Why,
    decide,
)

AUTOMATIC, REVIEW, NONE = Verdict.AUTOMATIC, Verdict.REVIEW, Verdict.NONE
LINK_ONLY, NEVER = Policy.PERSONAL_LINK_ONLY, Policy.NEVER

ANA = Person(1, "Ana", "Ruiz", date(1980, 3, 12))
ANA_NAMESAKE = Person(2, "Ana", "Ruiz", date(1991, 7, 4))
ANA_DOUBLE = Person(3, "Ana", "Ruiz", date(1980, 3, 12))
EVA_TWIN = Person(4, "Eva", "Ruiz", date(1980, 3, 12))
LEO = Person(5, "Leo", "Falk", date(1975, 11, 30))
TESS = Person(6, "Tess", "Nakamura", date(1980, 3, 12))
# A mother and her daughter were enrolled on one page and got one date of birth by mistake.
MARIA_OLDER = Person(7, "María Elena", "Solís", date(1962, 1, 9))
MARIA_YOUNGER = Person(8, "María", "Solís", date(1962, 1, 9))
CRUZ = Person(9, "Juan", "De La Cruz", date(1988, 6, 1))
SURYA = Person(10, "Surya", "", date(1970, 2, 2))
BINA = Person(11, "Bina", "", date(1970, 2, 2))
LI = Person(12, "小明", "李", date(1993, 10, 5))


@dataclass(frozen=True)
class Row:
    """One claim: who typed what, who is on the register, and what must come of it."""

    why: str
    claim: tuple[str, str, date]
    register: Sequence[Person]
    verdict: Verdict
    person: Person | None = None
    reasons: tuple[Why, ...] = ()  # those that must be among the decision's
    link: Person | None = None
    policy: Policy = Policy.NAME_AND_BIRTH_DATE
    first: tuple[Why, ...] = ()  # those that must be among the first candidate's


ROWS = [
    # --- automatic: name and date of birth agree, and one patient only fits
    Row(
        "name and date of birth agree",
        ("Ana", "Ruiz", date(1980, 3, 12)),
        [ANA, LEO],
        AUTOMATIC,
        ANA,
        (Why.NAME_EQUAL, Why.BIRTH_DATE_EQUAL),
    ),
    Row(
        "case and accents are a matter of the keyboard",
        ("MARIA ELENA", "SOLIS", date(1962, 1, 9)),
        [MARIA_OLDER, LEO],
        AUTOMATIC,
        MARIA_OLDER,
        (Why.NAME_EQUAL,),
    ),
    Row(
        "family name first",
        ("Ruiz", "Ana", date(1980, 3, 12)),
        [ANA],
        AUTOMATIC,
        ANA,
        (Why.NAME_IN_OTHER_ORDER,),
    ),
    Row(
        "a compound written together",
        ("Juan", "Delacruz", date(1988, 6, 1)),
        [CRUZ],
        AUTOMATIC,
        CRUZ,
        (Why.NAME_EQUAL,),
    ),
    Row(
        "one name only, typed into the other field",
        ("", "Surya", date(1970, 2, 2)),
        [SURYA],
        AUTOMATIC,
        SURYA,
    ),
    Row("Chinese characters", ("小明", "李", date(1993, 10, 5)), [LI, ANA], AUTOMATIC, LI),
    Row(
        "namesakes are told apart by the date of birth",
        ("Ana", "Ruiz", date(1991, 7, 4)),
        [ANA, ANA_NAMESAKE],
        AUTOMATIC,
        ANA_NAMESAKE,
    ),
    Row(
        "somebody else was born on that day",
        ("Ana", "Ruiz", date(1980, 3, 12)),
        [ANA, TESS],
        AUTOMATIC,
        ANA,
    ),
    Row(
        "two people of one name each, born on one day, are not alike",
        ("Surya", "", date(1970, 2, 2)),
        [SURYA, BINA],
        AUTOMATIC,
        SURYA,
    ),
    Row(
        "the link agrees",
        ("Ana", "Ruiz", date(1980, 3, 12)),
        [ANA],
        AUTOMATIC,
        ANA,
        (Why.LINK_AGREES,),
        link=ANA,
    ),
    # --- review: something is missing or speaks against it
    Row(
        "two records of one name and date of birth",
        ("Ana", "Ruiz", date(1980, 3, 12)),
        [ANA, ANA_DOUBLE],
        REVIEW,
        reasons=(Why.MORE_THAN_ONE_FITS,),
    ),
    Row(
        "and the link may not choose between them",
        ("Ana", "Ruiz", date(1980, 3, 12)),
        [ANA, ANA_DOUBLE],
        REVIEW,
        reasons=(Why.MORE_THAN_ONE_FITS,),
        link=ANA,
        first=(Why.LINK_AGREES,),
    ),
    Row(
        "a twin: one slip of the finger and it is the other one's",
        ("Ana", "Ruiz", date(1980, 3, 12)),
        [ANA, EVA_TWIN],
        REVIEW,
        reasons=(Why.SIMILAR_NAME_SAME_BIRTH_DATE,),
        first=(Why.NAME_EQUAL, Why.BIRTH_DATE_EQUAL),
    ),
    Row(
        "mother and daughter under one date of birth",
        ("María", "Solís", date(1962, 1, 9)),
        [MARIA_OLDER, MARIA_YOUNGER],
        REVIEW,
        reasons=(Why.SIMILAR_NAME_SAME_BIRTH_DATE,),
        first=(Why.NAME_EQUAL,),
    ),
    Row(
        "day and month exchanged",
        ("Ana", "Ruiz", date(1980, 12, 3)),
        [ANA],
        REVIEW,
        reasons=(Why.NOBODY_FITS,),
        first=(Why.NAME_EQUAL, Why.BIRTH_DATE_DAY_MONTH_EXCHANGED),
    ),
    Row(
        "one digit of the date of birth is off",
        ("Ana", "Ruiz", date(1980, 3, 13)),
        [ANA],
        REVIEW,
        reasons=(Why.NOBODY_FITS,),
        first=(Why.NAME_EQUAL, Why.BIRTH_DATE_CLOSE),
    ),
    Row(
        "two digits exchanged count as one slip",
        ("Ana", "Ruiz", date(1980, 3, 21)),
        [ANA],
        REVIEW,
        first=(Why.BIRTH_DATE_CLOSE,),
    ),
    Row(
        "the name agrees, the date of birth does not at all",
        ("Ana", "Ruiz", date(2001, 9, 28)),
        [ANA],
        REVIEW,
        reasons=(Why.NOBODY_FITS,),
        first=(Why.NAME_EQUAL, Why.BIRTH_DATE_DIFFERENT),
    ),
    Row(
        "a married name",
        ("Ana", "Whitcombe", date(1980, 3, 12)),
        [ANA],
        REVIEW,
        first=(Why.BIRTH_DATE_EQUAL, Why.GIVEN_NAME_EQUAL, Why.FAMILY_NAME_DIFFERENT),
    ),
    Row(
        "a married name, through her own link",
        ("Ana", "Whitcombe", date(1980, 3, 12)),
        [ANA],
        REVIEW,
        link=ANA,
        first=(Why.LINK_AGREES,),
    ),
    Row(
        "both family names, one on record",
        ("Ana", "Ruiz Ortega", date(1980, 3, 12)),
        [ANA],
        REVIEW,
        first=(Why.FAMILY_NAME_PART_OF_COMPOUND,),
    ),
    Row(
        "a misspelt family name",
        ("Tess", "Nakamuro", date(1980, 3, 12)),
        [TESS],
        REVIEW,
        first=(Why.FAMILY_NAME_CLOSE,),
    ),
    Row(
        "a middle name too many",
        ("Ana Luz", "Ruiz", date(1980, 3, 12)),
        [ANA],
        REVIEW,
        first=(Why.GIVEN_NAME_CLOSE, Why.FAMILY_NAME_EQUAL),
    ),
    Row(
        "only the date of birth agrees",
        ("Quinn", "Abernathy", date(1980, 3, 12)),
        [ANA],
        REVIEW,
        first=(Why.BIRTH_DATE_EQUAL, Why.GIVEN_NAME_DIFFERENT, Why.FAMILY_NAME_DIFFERENT),
    ),
    Row(
        "the link was somebody else's",
        ("Ana", "Ruiz", date(1980, 3, 12)),
        [ANA, LEO],
        REVIEW,
        reasons=(Why.LINK_WAS_SOMEBODY_ELSES,),
        link=LEO,
        first=(Why.NAME_EQUAL, Why.LINK_WAS_SOMEBODY_ELSES),
    ),
    Row(
        "the link alone is no identifier",
        ("Quinn", "Abernathy", date(1959, 5, 5)),
        [ANA],
        REVIEW,
        reasons=(Why.NOBODY_FITS,),
        link=ANA,
        first=(Why.LINK_AGREES, Why.BIRTH_DATE_DIFFERENT),
    ),
    Row(
        "nothing but marks typed for a name",
        ("-", "'", date(1980, 3, 12)),
        [ANA],
        REVIEW,
        reasons=(Why.NOBODY_FITS,),
    ),
    # --- the programme's policy
    Row(
        "the programme wants the link as well, and there is none",
        ("Ana", "Ruiz", date(1980, 3, 12)),
        [ANA],
        REVIEW,
        reasons=(Why.AUTOMATIC_SWITCHED_OFF,),
        policy=LINK_ONLY,
    ),
    Row(
        "the programme wants the link as well, and it agrees",
        ("Ana", "Ruiz", date(1980, 3, 12)),
        [ANA],
        AUTOMATIC,
        ANA,
        (Why.LINK_AGREES,),
        link=ANA,
        policy=LINK_ONLY,
    ),
    Row(
        "the programme wants the link as well, and it was somebody else's",
        ("Ana", "Ruiz", date(1980, 3, 12)),
        [ANA, LEO],
        REVIEW,
        reasons=(Why.LINK_WAS_SOMEBODY_ELSES, Why.AUTOMATIC_SWITCHED_OFF),
        link=LEO,
        policy=LINK_ONLY,
    ),
    Row(
        "the link does not make up for a date of birth",
        ("Ana", "Ruiz", date(1980, 3, 13)),
        [ANA],
        REVIEW,
        link=ANA,
        policy=LINK_ONLY,
    ),
    Row(
        "the programme matches nobody without a person",
        ("Ana", "Ruiz", date(1980, 3, 12)),
        [ANA],
        REVIEW,
        reasons=(Why.AUTOMATIC_SWITCHED_OFF,),
        link=ANA,
        policy=NEVER,
    ),
    # --- nobody
    Row(
        "nobody like that",
        ("Quinn", "Abernathy", date(1959, 5, 5)),
        [ANA, LEO],
        NONE,
        reasons=(Why.NOBODY_FITS,),
    ),
    Row(
        "an empty register",
        ("Ana", "Ruiz", date(1980, 3, 12)),
        [],
        NONE,
        reasons=(Why.NOBODY_FITS,),
    ),
    Row(
        "half a name and another date of birth are too little to show",
        ("Ana", "Abernathy", date(1959, 5, 5)),
        [ANA],
        NONE,
        reasons=(Why.NOBODY_FITS,),
    ),
]


def _decide(row: Row, register: Sequence[Person] | None = None) -> Decision:
    return decide(
        Claim(*row.claim),
        row.register if register is None else register,
        link_person_id=row.link.id if row.link else None,
        policy=row.policy,
    )


@pytest.mark.parametrize("row", ROWS, ids=[row.why for row in ROWS])
def test_whose_claim(row: Row) -> None:
    decision = _decide(row)
    assert decision.verdict == row.verdict
    assert decision.person_id == (row.person.id if row.person else None)
    assert decision.reasons, "never without a reason"
    assert set(row.reasons) <= set(decision.reasons)
    assert bool(decision.candidates) is (row.verdict != NONE)
    if row.first:
        assert set(row.first) <= set(decision.candidates[0].reasons)


@pytest.mark.parametrize("row", ROWS, ids=[row.why for row in ROWS])
def test_the_order_of_the_register_changes_nothing(row: Row) -> None:
    assert len({_decide(row, list(order)) for order in permutations(row.register)}) == 1


@pytest.mark.parametrize("row", ROWS, ids=[row.why for row in ROWS])
def test_people_who_have_nothing_in_common_change_nothing(row: Row) -> None:
    others = [Person(100 + n, f"Zz{n}", f"Yy{n}", date(1931, 8, 8 + n)) for n in range(5)]
    assert _decide(row, [*others, *row.register]) == _decide(row)


def test_candidates_come_strongest_first() -> None:
    claim = Claim("Ana", "Ruiz", date(1980, 3, 12))
    exchanged = Person(20, "Ana", "Ruiz", date(1980, 12, 3))
    close = Person(21, "Ana", "Ruiz", date(1980, 3, 22))
    shown: tuple[Candidate, ...] = decide(
        claim, [TESS, ANA_NAMESAKE, close, EVA_TWIN, exchanged, ANA, LEO]
    ).candidates
    assert [c.person_id for c in shown] == [1, 20, 4, 21, 2, 6]
    assert all(c.reasons for c in shown)


NAMES = st.sampled_from(["Ana", "Eva", "Ann", "Ruiz", "Ruis", "Leo", "Ana Eva", ""])
DAYS = st.sampled_from([date(1980, 3, 12), date(1980, 12, 3), date(1980, 3, 13)])
PEOPLE = st.lists(st.tuples(NAMES, NAMES, DAYS), max_size=6).map(
    lambda rows: [Person(n, *row) for n, row in enumerate(rows, start=1)]
)


@given(PEOPLE, NAMES, NAMES, DAYS, st.none() | st.integers(1, 6), st.sampled_from(Policy))
def test_an_automatic_match_always_rests_on_name_and_date_and_one_person(
    people: list[Person], given_names: str, family: str, day: date, link: int | None, policy: Policy
) -> None:
    """Promise C1, stated anew without the rule's own comparisons."""
    decision = decide(Claim(given_names, family, day), people, link_person_id=link, policy=policy)
    if decision.verdict != AUTOMATIC:
        assert decision.person_id is None
        return
    claimed = sorted(f"{given_names} {family}".split())
    fitting = [
        p.id
        for p in people
        if p.birth_date == day and sorted(f"{p.given_names} {p.family_names}".split()) == claimed
    ]
    assert [decision.person_id] == fitting
    assert policy != NEVER
    assert link in ((decision.person_id,) if policy == LINK_ONLY else (None, decision.person_id))
