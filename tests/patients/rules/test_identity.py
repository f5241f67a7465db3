"""Whose claim is it, row by row: automatic, for a person, or nobody's.  All people are invented."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta
from itertools import islice, permutations
from random import Random

import pytest
from hypothesis import given
from hypothesis import strategies as st

from patients.rules.candidates import MOST_COMPARED
from patients.rules.identity import (
    Born,
    Candidate,
    Claim,
    Decision,
    NameKind,
    Policy,
    Verdict,
    Why,
    WrittenDate,
    decide,
)
from patients.rules.in_memory import InMemoryRegister, Person

AUTOMATIC, REVIEW, NONE = Verdict.AUTOMATIC, Verdict.REVIEW, Verdict.NONE
LINK_ONLY, NEVER = Policy.PERSONAL_LINK_ONLY, Policy.NEVER
FORMER = NameKind.FORMER

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
ROSA = Person(13, "Rosa", "Ortega", date(1969, 4, 20))
ROSA_OTHER_SECOND_NAME = Person(14, "Rosa", "Ortega Whitcombe", date(1969, 4, 20))
# 22 others: at 0.001 namesakes born on one day, 21,915 birthdays allow 21.
MANY_ANAS = [Person(200 + n, "Ana", "Ruiz", date(1950 + n, 6, 15)) for n in range(22)]
TESSES = [Person(400 + n, "Tess", f"Wyndle{n}", date(1950 + n, 6, 15)) for n in range(22)]
TESS_OF_TWO_NAMES = Person(15, "Tess", "Vantongeren-Nakamura", date(1980, 3, 12))
# With her they are six, one more than may have the part that a claim agrees in.
NAKAMURAS = [Person(1000 + n, f"Orla{n}", "Nakamura", date(1940 + n, 7, 1)) for n in range(5)]
STRANGERS = [Person(300 + n, f"Zed{n}", f"Yarrow{n}", date(1940 + n, 3, 3)) for n in range(40)]
LI = Person(12, "小明", "李", date(1993, 10, 5))


@dataclass(frozen=True)
class Row:
    """One claim: who typed what, who is on the register, and what must come of it."""

    why: str
    claim: tuple[str, str, Born]
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
        reasons=(Why.MORE_THAN_ONE_FITS,),
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
        first=(Why.NAME_EQUAL, Why.BIRTH_DATE_ONE_DIGIT),
    ),
    Row(
        "two digits of the date of birth are exchanged",
        ("Ana", "Ruiz", date(1980, 3, 21)),
        [ANA],
        REVIEW,
        first=(Why.BIRTH_DATE_DIGITS_EXCHANGED,),
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
        "both family names, and one of them of five letters on record",
        ("Rosa", "Ortega Lind", date(1969, 4, 20)),
        [ROSA],
        AUTOMATIC,
        ROSA,
        (Why.FAMILY_NAME_PART_OF_COMPOUND,),
    ),
    Row(
        "unless another one has the given name and that part",
        ("Rosa", "Ortega Lind", date(1969, 4, 20)),
        [ROSA, Person(50, "Rosa María", "Ortega", date(1955, 2, 1))],
        REVIEW,
        reasons=(Why.SOMEBODY_SHARES_THE_PART,),
    ),
    Row(
        "a short part of a compound is a name that many have",
        ("Ana", "Ruiz Ortega", date(1980, 3, 12)),
        [ANA],
        REVIEW,
        reasons=(Why.SHORT_NAME_DIFFERS,),
        first=(Why.FAMILY_NAME_PART_OF_COMPOUND,),
    ),
    Row(
        "another second family name is another family",
        ("Rosa", "Ortega Lind", date(1969, 4, 20)),
        [ROSA_OTHER_SECOND_NAME],
        REVIEW,
        reasons=(Why.NOBODY_FITS,),
        first=(Why.FAMILY_NAME_SHARED,),
    ),
    Row(
        "one letter off in a long family name",
        ("Tess", "Nakamuro", date(1980, 3, 12)),
        [TESS],
        AUTOMATIC,
        TESS,
        (Why.FAMILY_NAME_ONE_EDIT, Why.GIVEN_NAME_EQUAL),
    ),
    Row(
        "unless somebody is called what was typed",
        ("Tess", "Nakamuro", date(1980, 3, 12)),
        [TESS, Person(50, "Jun", "Nakamuro", date(1955, 2, 1))],
        REVIEW,
        reasons=(Why.SOMEBODY_HAS_THE_TYPED_NAME,),
    ),
    Row(
        "unless so many have the given name that a stranger of that day may too, link or no link",
        ("Tess", "Nakamuro", date(1980, 3, 12)),
        [TESS, *TESSES],
        REVIEW,
        reasons=(Why.GIVEN_NAME_TOO_COMMON,),
        link=TESS,
        first=(Why.FAMILY_NAME_ONE_EDIT,),
    ),
    Row(
        "nor is a part of the family name enough then",
        ("Tess", "Vantongeren", date(1980, 3, 12)),
        [TESS_OF_TWO_NAMES, *TESSES],
        REVIEW,
        reasons=(Why.GIVEN_NAME_TOO_COMMON,),
    ),
    Row(
        "one fewer is few enough",
        ("Tess", "Nakamuro", date(1980, 3, 12)),
        [TESS, *TESSES[1:]],
        AUTOMATIC,
        TESS,
    ),
    Row(
        "and the name typed exactly needs no rare given name",
        ("Tess", "Nakamura", date(1980, 3, 12)),
        [TESS, *TESSES],
        AUTOMATIC,
        TESS,
    ),
    Row(
        "one letter off in a short family name is another name",
        ("Leo", "Fall", date(1975, 11, 30)),
        [LEO],
        REVIEW,
        reasons=(Why.SHORT_NAME_DIFFERS,),
        first=(Why.FAMILY_NAME_ONE_EDIT,),
    ),
    Row(
        "two letters off are too many",
        ("Tess", "Nakumuro", date(1980, 3, 12)),
        [TESS],
        REVIEW,
        reasons=(Why.NOBODY_FITS,),
    ),
    Row(
        "one letter off in a given name makes another person",
        ("Tessa", "Nakamura", date(1980, 3, 12)),
        [TESS],
        REVIEW,
        reasons=(Why.NOBODY_FITS,),
        first=(Why.GIVEN_NAME_ONE_EDIT,),
    ),
    Row(
        "a middle name added",
        ("Ana Luz", "Ruiz", date(1980, 3, 12)),
        [ANA],
        AUTOMATIC,
        ANA,
        (Why.GIVEN_NAME_MIDDLE_NAME, Why.FAMILY_NAME_EQUAL),
    ),
    Row(
        "a middle name dropped",
        ("María", "Solís", date(1962, 1, 9)),
        [MARIA_OLDER],
        AUTOMATIC,
        MARIA_OLDER,
        (Why.GIVEN_NAME_MIDDLE_NAME,),
    ),
    Row(
        "another middle name",
        ("María Luz", "Solís", date(1962, 1, 9)),
        [MARIA_OLDER],
        REVIEW,
        reasons=(Why.NOBODY_FITS,),
        first=(Why.GIVEN_NAME_SHARED,),
    ),
    *(
        Row(
            f"the same words in another order are another name: {given} {family}",
            (given, family, date(1980, 3, 12)),
            [Person(51, *recorded, date(1980, 3, 12))],
            REVIEW,
            reasons=(Why.NOBODY_FITS,),
        )
        for given, family, recorded in (
            ("María José", "Solís", ("José María", "Solís")),
            ("Jia-Hua", "Solís", ("Hua-Jia", "Solís")),
            ("Thomas", "Martin Lee", ("Martin", "Thomas Lee")),
        )
    ),
    *(
        Row(
            f"but a word may stand in the other field: {given}, {family}",
            (given, family, date(1980, 3, 12)),
            [Person(51, "María José", "Solís Falk", date(1980, 3, 12))],
            AUTOMATIC,
            Person(51, "María José", "Solís Falk", date(1980, 3, 12)),
        )
        for given, family in (
            ("María", "José Solís Falk"),
            ("María José Solís Falk", ""),
            ("Solís Falk", "María José"),
            ("Solís", "Falk María José"),
        )
    ),
    *(
        Row(
            f"a particle is no letter of a long name, nor a part: {typed}, {recorded}",
            ("Juan", typed, date(1980, 3, 12)),
            [Person(51, "Juan", recorded, date(1980, 3, 12))],
            REVIEW,
            reasons=(why,),
        )
        for typed, recorded, why in (
            ("Santa Cruz", "De La Cruz", Why.NOBODY_FITS),
            ("Santa Rosa", "De La Rosa", Why.NOBODY_FITS),
            ("Van Fall", "Van Falk", Why.SHORT_NAME_DIFFERS),
            ("Al Saad", "Al Said", Why.SHORT_NAME_DIFFERS),
            # Three letters with two vowel signs, and two syllables: Unicode standard, 12.1, 18.6.
            ("वर्मा", "शर्मा", Why.SHORT_NAME_DIFFERS),
            ("남긍", "남궁", Why.SHORT_NAME_DIFFERS),
        )
    ),
    *(
        Row(
            f"another generation is another person, however it is written: {typed}, {recorded}",
            ("Tess", typed, date(1980, 3, 12)),
            [Person(51, "Tess", recorded, date(1980, 3, 12))],
            REVIEW,
            reasons=(Why.NOBODY_FITS,),
            first=(Why.GENERATION_DIFFERS,),
        )
        for typed, recorded in (
            ("Nakamura - Jr", "Nakamura Sr"),
            ("Nakamura Junior", "Nakamura Sr"),
            ("Nakamura 1st", "Nakamura Jr"),
            ("Nakamura 4th", "Nakamura III"),
        )
    ),
    Row(
        "half of a name with a hyphen is another name, not a middle name dropped",
        ("Jia", "Lindqvist", date(1984, 9, 2)),
        [Person(51, "Jia-hua", "Lindqvist", date(1984, 9, 2))],
        REVIEW,
        reasons=(Why.NOBODY_FITS,),
    ),
    Row(
        "and a hyphen is one, typed as a minus sign or with blanks (a twin who is not on record)",
        ("Jia − hua", "Lindqvist", date(1984, 9, 2)),
        [Person(51, "Jia", "Lindqvist", date(1984, 9, 2))],
        REVIEW,
        reasons=(Why.NOBODY_FITS,),
    ),
    Row(
        "one letter off and the fields exchanged are two differences",
        ("Nakamuro", "Tess", date(1980, 3, 12)),
        [TESS],
        REVIEW,
        reasons=(Why.NOBODY_FITS,),
        first=(Why.FAMILY_NAME_ONE_EDIT, Why.PARTS_IN_OTHER_ORDER),
    ),
    Row(
        "another of this given name has that part of the family name",
        ("Tess", "Nakamura", date(1980, 3, 12)),
        [TESS_OF_TWO_NAMES, Person(51, "Tess", "Nakamura-Falk", date(1961, 7, 4))],
        REVIEW,
        reasons=(Why.SOMEBODY_SHARES_THE_PART,),
    ),
    Row(
        "a middle name more and a letter off are two differences",
        ("Tess Mari", "Nakamuro", date(1980, 3, 12)),
        [TESS],
        REVIEW,
        reasons=(Why.NOBODY_FITS,),
    ),
    Row(
        "a short form of the given name",
        ("Bill", "Abernathy", date(1959, 5, 5)),
        [Person(52, "William", "Abernathy", date(1959, 5, 5))],
        REVIEW,
        reasons=(Why.NOBODY_FITS,),
        first=(Why.BIRTH_DATE_EQUAL, Why.GIVEN_NAME_SHORT_FORM, Why.FAMILY_NAME_EQUAL),
    ),
    Row(
        "a title and a degree are no part of the name",
        ("Dr. Tess", "Nakamura, PhD", date(1980, 3, 12)),
        [TESS],
        AUTOMATIC,
        TESS,
        (Why.NAME_EQUAL,),
    ),
    Row(
        "junior and senior",
        ("Leo", "Falk Jr.", date(1975, 11, 30)),
        [Person(53, "Leo", "Falk Sr.", date(1975, 11, 30))],
        REVIEW,
        reasons=(Why.NOBODY_FITS,),
        first=(Why.NAME_EQUAL, Why.GENERATION_DIFFERS),
    ),
    Row(
        "junior, where the record does not say",
        ("Leo", "Falk Jr.", date(1975, 11, 30)),
        [LEO],
        AUTOMATIC,
        LEO,
    ),
    Row(
        "by the name before she married",
        ("Ana", "Ruiz", date(1980, 3, 12)),
        [
            Person(54, "Ana", "Whitcombe", date(1980, 3, 12)),
            Person(54, "Ana", "Ruiz", date(1980, 3, 12), NameKind.FORMER),
        ],
        AUTOMATIC,
        Person(54, "Ana", "Whitcombe", date(1980, 3, 12)),
        (Why.NAME_EQUAL, Why.BY_FORMER_NAME),
    ),
    Row(
        "a date of birth that no calendar has",
        ("Ana", "Ruiz", WrittenDate(1980, 2, 30)),
        [ANA],
        REVIEW,
        reasons=(Why.BIRTH_DATE_IMPOSSIBLE,),
    ),
    Row(
        "not even if the record has the same impossible date",
        ("Ana", "Ruiz", WrittenDate(1980, 2, 30)),
        [Person(55, "Ana", "Ruiz", WrittenDate(1980, 2, 30))],
        REVIEW,
        reasons=(Why.BIRTH_DATE_IMPOSSIBLE,),
    ),
    Row(
        "no date of birth",
        ("Ana", "Ruiz", None),
        [ANA],
        REVIEW,
        reasons=(Why.NOBODY_FITS,),
        first=(Why.BIRTH_DATE_UNKNOWN,),
    ),
    Row(
        "a name that many have: somebody else may well be born on that day",
        ("Ana", "Ruiz", date(1980, 3, 12)),
        [ANA, *MANY_ANAS],
        REVIEW,
        reasons=(Why.NAME_TOO_COMMON,),
    ),
    Row(
        "but the personal link makes up for a common name",
        ("Ana", "Ruiz", date(1980, 3, 12)),
        [ANA, *MANY_ANAS],
        AUTOMATIC,
        ANA,
        link=ANA,
    ),
    Row(
        "a record with its fields exchanged has the namesakes of the name as it is",
        ("Ana", "Ruiz", date(1980, 3, 12)),
        [Person(51, "Ruiz", "Ana", date(1980, 3, 12)), *MANY_ANAS],
        REVIEW,
        reasons=(Why.NAME_TOO_COMMON,),
    ),
    Row(
        "and namesakes whose fields are exchanged are namesakes",
        ("Ana", "Ruiz", date(1980, 3, 12)),
        [ANA, *(replace(p, given_names="Ruiz", family_names="Ana Luz") for p in MANY_ANAS)],
        REVIEW,
        reasons=(Why.NAME_TOO_COMMON,),
    ),
    Row(
        "a common name with a middle name added needs a person, link or no link",
        ("Ana Luz", "Ruiz", date(1980, 3, 12)),
        [ANA, *MANY_ANAS],
        REVIEW,
        reasons=(Why.NAME_TOO_COMMON,),
        link=ANA,
    ),
    Row(
        "one letter off, and a namesake whose date is nearly the same: both may be slips",
        ("Tess", "Nakamurra", date(1980, 3, 12)),
        [TESS, Person(51, "Tess", "Nakamura", date(1980, 12, 3))],
        REVIEW,
        reasons=(Why.NAMESAKE_OF_A_NEAR_DATE,),
        link=TESS,
        first=(Why.BIRTH_DATE_EQUAL, Why.FAMILY_NAME_ONE_EDIT),
    ),
    Row(
        "and one digit makes it as near",
        ("Tess", "Vantongeren", date(1980, 3, 12)),
        [TESS_OF_TWO_NAMES, Person(51, "Tess", "Vantongeren", date(1980, 3, 22))],
        REVIEW,
        reasons=(Why.NAMESAKE_OF_A_NEAR_DATE,),
    ),
    Row(
        "another date that is not so near changes nothing",
        ("Tess", "Nakamurra", date(1980, 3, 12)),
        [TESS, Person(51, "Tess", "Nakamura", date(1974, 9, 25))],
        AUTOMATIC,
        TESS,
        (Why.FAMILY_NAME_ONE_EDIT,),
    ),
    Row(
        "a namesake of a near date may have slipped, also where the name is typed exactly",
        ("Tess", "Nakamura", date(1980, 3, 12)),
        [TESS, Person(51, "Tess", "Nakamura", date(1980, 12, 3))],
        REVIEW,
        reasons=(Why.NAMESAKE_OF_A_NEAR_DATE,),
        first=(Why.NAME_EQUAL, Why.BIRTH_DATE_EQUAL),
    ),
    *(
        Row(
            f"{why}, also where nobody else is asked for",
            ("Tess", "Nakamura", date(1980, 11, 12)),
            # So rare a name makes a second look needless.
            [Person(52, "Tess", "Nakamura", date(1980, 11, 12)), other, *STRANGERS],
            REVIEW,
            reasons=(Why.NAMESAKE_OF_A_NEAR_DATE,),
        )
        for why, other in (
            ("a digit of the year", Person(51, "Tess", "Nakamura", date(1970, 11, 12))),
            ("a digit of the month", Person(51, "Tess", "Nakamura", date(1980, 12, 12))),
            ("a digit of the day", Person(51, "Tess", "Nakamura", date(1980, 11, 13))),
            ("digits of the day exchanged", Person(51, "Tess", "Nakamura", date(1980, 11, 21))),
            ("digits of the year exchanged", Person(51, "Tess", "Nakamura", date(1908, 11, 12))),
            ("year and month exchanged", Person(51, "Tess", "Nakamura", date(1981, 1, 12))),
        )
    ),
    Row(
        "or who left a middle name out",
        ("Tess", "Nakamura", date(1980, 3, 12)),
        [TESS, Person(51, "Tess Mari", "Nakamura", date(1980, 3, 22))],
        REVIEW,
        reasons=(Why.NAMESAKE_OF_A_NEAR_DATE,),
    ),
    Row(
        "a record merged into the patient's own is no namesake, whatever its date",
        ("Tess", "Nakamura", date(1980, 3, 12)),
        [TESS, replace(TESS, birth_date=date(1980, 12, 3))],
        AUTOMATIC,
        TESS,
    ),
    Row(
        "the patient's own link says who is meant",
        ("Tess", "Nakamura", date(1980, 3, 12)),
        [TESS, Person(51, "Tess", "Nakamura", date(1980, 12, 3))],
        AUTOMATIC,
        TESS,
        (Why.NAME_EQUAL, Why.BIRTH_DATE_EQUAL, Why.LINK_AGREES),
        link=TESS,
    ),
    Row(
        "nor somebody of that date who is called otherwise",
        ("Tess", "Nakamurra", date(1980, 3, 12)),
        [TESS, Person(51, "Orla", "Nakamura", date(1980, 12, 3))],
        AUTOMATIC,
        TESS,
    ),
    Row(
        "a part of the family name that others have: a stranger may have it too, link or no link",
        ("Tess", "Nakamura", date(1980, 3, 12)),
        [TESS_OF_TWO_NAMES, *NAKAMURAS],
        REVIEW,
        reasons=(Why.PART_TOO_COMMON,),
        link=TESS_OF_TWO_NAMES,
        first=(Why.GIVEN_NAME_EQUAL, Why.FAMILY_NAME_PART_OF_COMPOUND),
    ),
    Row(
        "nor does it say more with another part added to it",
        ("Tess", "Okonjo Nakamura", date(1980, 3, 12)),
        [TESS, *NAKAMURAS],
        REVIEW,
        reasons=(Why.PART_TOO_COMMON,),
    ),
    Row(
        "the part that only she has says enough",
        ("Tess", "Vantongeren", date(1980, 3, 12)),
        [TESS_OF_TWO_NAMES, *NAKAMURAS],
        AUTOMATIC,
        TESS_OF_TWO_NAMES,
        (Why.FAMILY_NAME_PART_OF_COMPOUND,),
    ),
    Row(
        "a part of the family name, and one less who has it",
        ("Tess", "Nakamura", date(1980, 3, 12)),
        [TESS_OF_TWO_NAMES, *NAKAMURAS[1:]],
        AUTOMATIC,
        TESS_OF_TWO_NAMES,
        (Why.FAMILY_NAME_PART_OF_COMPOUND,),
    ),
    Row(
        "two parts in common, one of them rare",
        ("Tess", "Vantongeren Nakamura Okonjo", date(1980, 3, 12)),
        [TESS_OF_TWO_NAMES, *NAKAMURAS],
        AUTOMATIC,
        TESS_OF_TWO_NAMES,
        (Why.FAMILY_NAME_PART_OF_COMPOUND,),
    ),
    Row(
        "the whole family name, whoever else has it",
        ("Tess", "Nakamura", date(1980, 3, 12)),
        [TESS, *NAKAMURAS],
        AUTOMATIC,
        TESS,
        (Why.NAME_EQUAL,),
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
    # --- what was typed is as near to somebody else of that day
    Row(
        "the other family name of two, in another form",
        ("Eva", "Nováková", date(1980, 5, 17)),
        [
            Person(81, "Eva", "Svobodová Nováková", date(1980, 5, 17)),
            Person(82, "Eva", "Novák", date(1980, 5, 17)),
        ],
        REVIEW,
        reasons=(Why.SIMILAR_NAME_SAME_BIRTH_DATE,),
    ),
    Row(
        "a short form with the other half of a double name",
        ("Katherine", "Falke-Ortega", date(1980, 5, 17)),
        [
            Person(81, "Katherine", "Falke", date(1980, 5, 17)),
            Person(82, "Kate", "Ortega", date(1980, 5, 17)),
        ],
        REVIEW,
        reasons=(Why.SIMILAR_NAME_SAME_BIRTH_DATE,),
    ),
    Row(
        "written apart, and the family name as near to another",
        ("Maryann", "Johnsou", date(1980, 5, 17)),
        [
            Person(81, "Maryann", "Johnson", date(1980, 5, 17)),
            Person(82, "Mary Ann", "Jones", date(1980, 5, 17)),
        ],
        REVIEW,
        reasons=(Why.SIMILAR_NAME_SAME_BIRTH_DATE,),
    ),
    Row(
        "two first names, of which each belongs to one of two, of a family that many are of",
        ("Valeria Ximena", "Ruiz", date(1980, 3, 12)),
        [
            Person(81, "Ximena", "Ruiz", date(1980, 3, 12)),
            Person(82, "Valeria", "Ruiz", date(1980, 3, 12)),
            *(
                Person(3000 + n, f"Zed{n}", "Ruiz", date(1940, 7, 1) + timedelta(n))
                for n in range(250)
            ),
        ],
        REVIEW,
        reasons=(Why.SIMILAR_NAME_SAME_BIRTH_DATE,),
    ),
    Row(
        "the senior with a degree beside the junior",
        ("John", "Kreuzer Sr., M.D.", date(1980, 5, 17)),
        [Person(81, "John", "Kreuzer Jr.", date(1980, 5, 17))],
        REVIEW,
        first=(Why.GENERATION_DIFFERS,),
    ),
    Row(
        "a double family name the other way round is another one",
        ("Wilhelmine", "Ortega Falk", date(1980, 5, 17)),
        [Person(81, "Wilhelmine", "Falk Ortega", date(1980, 5, 17))],
        REVIEW,
        reasons=(Why.NOBODY_FITS,),
    ),
    # --- one name in several forms is one name: to count its bearers, and for its own bearer
    *(
        Row(
            f"{typed} typed, {own} on record: too many are {theirs}",
            (typed, "Kimura", date(1980, 5, 17)),
            [
                Person(81, own, "Kimura", date(1980, 5, 17)),
                *(Person(82 + n, theirs, "Kimura", date(1950 + n, 6, 15)) for n in range(22)),
            ],
            REVIEW,
            reasons=(Why.NAME_TOO_COMMON,),
        )
        for typed, own, theirs in (
            ("Minjun", "Minjun", "Min-jun"),
            ("Min-jun", "Minjun", "Min-jun"),
            ("Min-jun", "Minjun", "Minjun"),
            ("Minjun", "Min jun", "Minjun"),
        )
    ),
    Row(
        "her own former name is nobody else's",
        ("Ana", "Falke", date(1980, 5, 17)),
        [
            Person(81, "Ana", "Falke-Ortega", date(1980, 5, 17)),
            Person(81, "Ana", "Falke-Schmidt", date(1980, 5, 17), FORMER),
        ],
        AUTOMATIC,
        Person(81, "Ana", "Falke-Ortega", date(1980, 5, 17)),
        (Why.FAMILY_NAME_PART_OF_COMPOUND,),
    ),
    Row(
        "a letter off, as in her own former name",
        ("Maria", "Hanson", date(1980, 5, 17)),
        [
            Person(81, "Maria", "Hansen", date(1980, 5, 17)),
            Person(81, "Ana", "Hanson", date(1980, 5, 17), FORMER),
        ],
        AUTOMATIC,
        Person(81, "Maria", "Hansen", date(1980, 5, 17)),
        (Why.FAMILY_NAME_ONE_EDIT,),
    ),
    Row(
        "the name that fits best speaks for a person, however rare the other one is",
        ("Ana", "Ortega", date(1980, 5, 17)),
        [
            Person(81, "Ana", "Falke-Ortega", date(1980, 5, 17)),
            Person(81, "Ana María", "Ortega", date(1980, 5, 17), FORMER),
            *(Person(90 + n, f"Zed{n}", "Ortega", date(1950 + n, 6, 15)) for n in range(3)),
        ],
        AUTOMATIC,
        Person(81, "Ana", "Falke-Ortega", date(1980, 5, 17)),
        (Why.GIVEN_NAME_MIDDLE_NAME, Why.BY_FORMER_NAME),
    ),
    Row(
        "the only name, written in two words",
        ("Ratnasari", "", date(1980, 5, 17)),
        [Person(81, "Ratna Sari", "", date(1980, 5, 17))],
        AUTOMATIC,
        Person(81, "Ratna Sari", "", date(1980, 5, 17)),
        (Why.NAME_EQUAL,),
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
        [ANA, *STRANGERS],
        NONE,
        reasons=(Why.NOBODY_FITS,),
    ),
]


def _decide(row: Row, register: Sequence[Person] | None = None) -> Decision:
    return decide(
        Claim(*row.claim),
        InMemoryRegister(row.register if register is None else register),
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
    assert decision.candidates or row.verdict == NONE
    if row.first:
        assert set(row.first) <= set(decision.candidates[0].reasons)


@pytest.mark.parametrize("row", ROWS, ids=[row.why for row in ROWS])
def test_the_order_of_the_register_changes_nothing(row: Row) -> None:
    orders = islice(permutations(row.register), 24)
    assert len({_decide(row, list(order)) for order in orders}) == 1


@pytest.mark.parametrize("row", ROWS, ids=[row.why for row in ROWS])
def test_people_who_have_nothing_in_common_change_nothing(row: Row) -> None:
    others = [Person(100 + n, f"Zz{n}", f"Yy{n}", date(1931, 8, 8 + n)) for n in range(5)]
    more, fewer = _decide(row, [*others, *row.register]), _decide(row)
    assert (more.verdict, more.person_id, more.reasons) == (
        fewer.verdict,
        fewer.person_id,
        fewer.reasons,
    )


def test_candidates_come_strongest_first_and_at_most_five() -> None:
    claim = Claim("Ana", "Ruiz", date(1980, 3, 12))
    exchanged = Person(20, "Ana", "Ruiz", date(1980, 12, 3))
    close = Person(21, "Ana", "Ruiz", date(1980, 3, 22))
    register = InMemoryRegister([TESS, ANA_NAMESAKE, close, EVA_TWIN, exchanged, ANA, LEO])
    shown: tuple[Candidate, ...] = decide(claim, register).candidates
    assert [c.person_id for c in shown] == [1, 20, 21, 4, 6]
    assert all(c.reasons for c in shown)
    weights = [c.weight for c in shown]
    assert weights == sorted(weights, reverse=True)


def test_whose_link_it_was_is_shown_however_large_the_register() -> None:
    """Among a million, nothing alike weighs so little that nobody else like that is shown."""

    class Large(InMemoryRegister):
        people = 1_000_000

    claim = Claim("Quinn", "Abernathy", date(1959, 5, 5))
    decision = decide(claim, Large([ANA, LEO]), link_person_id=ANA.id)
    assert decision.verdict == REVIEW
    assert [c.person_id for c in decision.candidates] == [ANA.id]


def _bearing(family: str, count: int) -> list[Person]:
    """So many more people of a family name, none of them born on the day in question."""
    return [
        Person(3000 + n, f"Zed{n}", family, date(1940, 7, 1) + timedelta(n)) for n in range(count)
    ]


@pytest.mark.parametrize(
    ("own", "other", "many", "by_chance"),
    [
        (("Ana", "Ruiz"), ("Eva", "Ruiz"), "Ruiz", 201),
        # What a twin's name has in common is what must be rare, not the whole of either.
        (("Ana", "Ruiz"), ("Eva", "Ruiz Ortega"), "Ruiz", 201),
        (("Ana", "Ruiz Ortega"), ("Eva", "Ruiz"), "Ruiz", 201),
        (("Ana", "Ruiz-Ortega"), ("Eva", "Ruiz-Falk"), "Ruiz", 201),
        (("Ana", "Ruiz-Ortega"), ("Eva", "Ruiz-Falk"), "Ortega", None),
        (("Ana", "Ruiz Ortega"), ("Eva", "Ruiz Ortega Falk"), "Ruiz", None),
        # A letter off, or nearly alike: how many have the patient's own name. Somebody's enrolment
        # under another one must not match her by itself.
        (("Ana", "Hadfield"), ("Eva", "Hatfield"), "Hadfield", 201),
        (("Ana", "Hadfield"), ("Eva", "Hatfield"), "Hatfield", None),
        (("Ana", "Langworth"), ("Eva", "Langwirt"), "Langworth", 201),
        # In the other field, or with a given name that is alike, or none: who knows.
        (("Ana", "Ruiz"), ("Ruiz", "Eva"), "Ruiz", 201),
        (("Ana", "Ruiz Ortega"), ("Ruiz", "Eva"), "Ruiz", None),
        (("Mariana", "Ruiz"), ("Marina", "Ruiz"), "Ruiz", None),
        (("Ana", "Ruiz"), ("Ana", "Ruiz Ortega"), "Ortega", None),
        (("Ana", "Ruiz"), ("Ana", ""), "Ruiz", None),
    ],
)
def test_twins_go_to_a_person_unless_chance_explains_them(
    own: tuple[str, str], other: tuple[str, str], many: str, by_chance: int | None
) -> None:
    """`by_chance`: with so many on the register who bear the name `many`, and with no fewer."""
    day = date(1980, 3, 12)
    two = [Person(1, *own, day), Person(2, *other, day)]
    bears = sum(many in name for name in (own[1], *other))
    for count in (0, 200, 201, 400):
        decision = decide(
            Claim(*own, day), InMemoryRegister([*two, *_bearing(many, count - bears)])
        )
        if by_chance is None or count < by_chance:
            assert decision.verdict == REVIEW, count
            if decision.reasons != (Why.MORE_THAN_ONE_FITS,):
                assert Why.SIMILAR_NAME_SAME_BIRTH_DATE in decision.reasons
        else:
            assert (decision.verdict, decision.person_id) == (AUTOMATIC, 1), count


def test_too_many_on_one_day_are_not_told_apart() -> None:
    """A date of birth that stands for "not known" in some registers, 1 January 1900."""
    day = date(1900, 1, 1)
    crowd = [Person(n, f"Given{n}", f"Family{n}", day) for n in range(MOST_COMPARED)]
    decision = decide(Claim("Given7", "Family7", day), InMemoryRegister(crowd))
    assert decision.verdict == REVIEW
    assert Why.TOO_MANY_TO_COMPARE in decision.reasons


NAMES = st.sampled_from(
    ["Ana", "Ana Luz", "Ann", "Eva", "Ruiz", "Ruis", "Ortega", "Ortego", "Ortega Ruiz", "Leo", ""]
)
DAYS = st.sampled_from([date(1980, 3, 12), date(1980, 12, 3), date(1980, 3, 13)])
PEOPLE = st.lists(st.tuples(NAMES, NAMES, DAYS), max_size=8).map(
    lambda rows: [Person(n, *row) for n, row in enumerate(rows, start=1)]
)


def _agrees_once(typed: str, recorded: str, *, given: bool) -> bool:
    """The allowed differences, stated anew: a middle name, or a letter or part of five or more."""
    left, right = typed.lower().split(), recorded.lower().split()
    if left == right:
        return True
    if given:
        return bool(left and right) and left[0] == right[0] and 1 in (len(left), len(right))
    shorter, longer = sorted((left, right), key=len)
    if len(shorter) < len(longer):
        return bool(shorter) and set(shorter) <= set(longer) and len("".join(shorter)) >= 5
    pairs = list(zip("".join(left), "".join(right), strict=False))
    return len(pairs) >= 5 and sum(a != b for a, b in pairs) <= 1


@given(PEOPLE, NAMES, NAMES, DAYS, st.none() | st.integers(1, 8), st.sampled_from(Policy))
def test_an_automatic_match_always_rests_on_name_and_date_and_one_person(
    people: list[Person], given_names: str, family: str, day: date, link: int | None, policy: Policy
) -> None:
    """Promise C1, stated anew without the rule's own comparisons."""
    claim = Claim(given_names, family, day)
    decision = decide(claim, InMemoryRegister(people), link_person_id=link, policy=policy)
    if decision.verdict != AUTOMATIC:
        assert decision.person_id is None
        return
    (one,) = (p for p in people if p.id == decision.person_id)
    assert one.birth_date == day
    typed = f"{given_names} {family}".split()
    orders = (
        f"{one.given_names} {one.family_names}".split(),
        f"{one.family_names} {one.given_names}".split(),
    )
    same_words = typed in orders or f"{family} {given_names}".split() == orders[0]
    assert same_words or any(
        _agrees_once(typed_given, one.given_names, given=True)
        and _agrees_once(typed_family, one.family_names, given=False)
        for typed_given, typed_family in ((given_names, family), (family, given_names))
    )
    doubles = [
        p for p in people if (p.given_names, p.family_names) == (one.given_names, one.family_names)
    ]
    assert [p.id for p in doubles if p.birth_date == day] == [one.id]
    assert policy != NEVER
    assert link in ((decision.person_id,) if policy == LINK_ONLY else (None, decision.person_id))


@given(PEOPLE, st.randoms(use_true_random=False), NAMES, NAMES, DAYS)
def test_the_decision_is_the_same_under_any_order(
    people: list[Person], random: Random, given_names: str, family: str, day: date
) -> None:
    claim = Claim(given_names, family, day)
    shuffled = random.sample(people, len(people))
    assert decide(claim, InMemoryRegister(people)) == decide(claim, InMemoryRegister(shuffled))


@given(
    PEOPLE,
    st.lists(st.tuples(st.integers(0, 7), NAMES, NAMES), max_size=4),
    st.integers(0, 30),
    st.lists(
        st.tuples(NAMES | st.text(max_size=12), NAMES | st.text(max_size=12), st.dates()),
        max_size=6,
    ),
    NAMES,
    NAMES,
    DAYS,
    st.none() | st.integers(1, 8),
)
def test_somebody_new_never_turns_review_into_automatic_for_another(
    people: list[Person],
    former: list[tuple[int, str, str]],
    namesakes: int,
    new: list[tuple[str, str, date]],
    given_names: str,
    family: str,
    day: date,
    link: int | None,
) -> None:
    """Whoever is added, related or not: only the new one may become an automatic match."""
    people = [
        *people,
        *(
            replace(people[n], given_names=g, family_names=f, kind=FORMER)
            for n, g, f in former
            if n < len(people)
        ),
        *(Person(300 + n, given_names, family, date(1930 + n, 1, 2)) for n in range(namesakes)),
    ]
    claim = Claim(given_names, family, day)
    before = decide(claim, InMemoryRegister(people), link_person_id=link)
    added = [Person(1000 + n, *row) for n, row in enumerate(new)]
    after = decide(claim, InMemoryRegister(people + added), link_person_id=link)
    if before.verdict != AUTOMATIC and after.verdict == AUTOMATIC:
        assert after.person_id in {p.id for p in added}
    if before.verdict == AUTOMATIC and after.verdict == AUTOMATIC:
        assert after.person_id == before.person_id


@given(st.text(max_size=200), st.text(max_size=200), st.none() | st.dates())
def test_whatever_is_typed_gets_a_decision_with_reasons(
    given_names: str, family: str, day: date | None
) -> None:
    register = InMemoryRegister([ANA, LEO, SURYA, LI, CRUZ, Person(60, given_names, family, day)])
    decision = decide(Claim(given_names, family, day), register)
    assert decision.reasons
    if decision.verdict == AUTOMATIC:
        assert day is not None
