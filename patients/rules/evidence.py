"""How much does a likeness say?  Fellegi and Sunter's weights, in bits.

Source: I. P. Fellegi, A. B. Sunter, "A theory for record linkage", J. Am. Stat. Assoc. 64 (1969)
1183-1210: a likeness that is found with probability m among records of one person, and with
probability u among records of two, weighs log2(m / u). For equal names u is the share of the
register that bears the name: a rare name says more than a common one.

The probabilities below were set on the FEBRL sets 1 and 2 and on the generator's seeds 1 to 5
(tests/benchmarks); LIKELY and the keys of the second pass were chosen with the sets 3 and 4 in view
as well. They order candidates and separate "somebody may be meant" from "nobody"; no weight alone
ever matches anybody (patients/rules/identity.py).
"""

from math import inf, log2

from patients.rules.date_likeness import DateAlike
from patients.rules.name_likeness import Alike
from patients.rules.names import NormalName
from patients.rules.names_beside import NameLikeness

BIRTH_DAYS = 21_915  # birthdays of adults spread over about sixty years of 365.25 days

# Found among records of one person, among records of two.
GIVEN = {
    Alike.MIDDLE_NAME: (0.03, 0.001),
    Alike.ONE_EDIT: (0.08, 0.001),
    Alike.SHORT_FORM: (0.03, 0.001),
    Alike.SHARED: (0.005, 0.001),
    Alike.INITIAL: (0.005, 0.002),
    Alike.PHONETIC: (0.005, 0.001),
    Alike.CLOSE: (0.005, 0.0006),
    Alike.RESEMBLES: (0.004, 0.003),
    Alike.BOTH_MISSING: (0.02, 0.002),
    Alike.DIFFERENT: (0.08, 0.95),
}
FAMILY = {
    Alike.ONE_EDIT: (0.12, 0.0003),
    Alike.PART: (0.03, 0.001),
    Alike.SHARED: (0.005, 0.001),
    Alike.PHONETIC: (0.005, 0.00015),
    Alike.CLOSE: (0.012, 0.0005),
    Alike.RESEMBLES: (0.005, 0.002),
    Alike.BOTH_MISSING: (0.02, 0.002),
    Alike.DIFFERENT: (0.06, 0.97),
}
DATES = {
    DateAlike.EQUAL: (0.88, 1 / BIRTH_DAYS),
    DateAlike.DAY_MONTH_EXCHANGED: (0.01, 1 / BIRTH_DAYS),
    DateAlike.DIGITS_EXCHANGED: (0.01, 2 / BIRTH_DAYS),
    DateAlike.ONE_DIGIT: (0.02, 20 / BIRTH_DAYS),
    DateAlike.TWO_PARTS: (0.01, 60 / BIRTH_DAYS),
    DateAlike.TWO_DIGITS: (0.005, 0.006),
    DateAlike.BOTH_UNKNOWN: (0.02, 0.002),
    DateAlike.DIFFERENT: (0.05, 0.96),
}
BOTH_MISSING = Alike.BOTH_MISSING
EQUAL_NAME = 0.8
FEW = 1000
MOVED = -4.0
LINK_AGREES, LINK_DISAGREES = 8.0, -2.0


def bits(m: float, u: float) -> float:
    """Return the weight log2(m / u) of a likeness."""
    return log2(m / u)


# What is not in a table says nothing; equal names have the weight of their own rarity.
SILENT = dict.fromkeys(Alike, 0.0) | {Alike.EQUAL: inf}
GIVEN_BITS = SILENT | {alike: bits(m, u) for alike, (m, u) in GIVEN.items()}
FAMILY_BITS = SILENT | {alike: bits(m, u) for alike, (m, u) in FAMILY.items()}
DATE_BITS = {alike: bits(m, u) for alike, (m, u) in DATES.items()} | {DateAlike.UNKNOWN: 0.0}


def equal_name_bits(bearers: int, people: int) -> float:
    """Return the weight of an equal name which `bearers` of `people` on the register have.

    A small register cannot say how rare a name is: it counts as one of FEW people.
    """
    return bits(EQUAL_NAME, max(bearers, 1) / max(people, FEW))


class NameBits(dict[NameLikeness, float]):
    """The bits with which each likeness to one typed name speaks for one person.

    `given_bearers`, `family_bearers`: how many of the `people` on the register have that name in
    whatever field. A part that both lack is no rare name.
    """

    def __init__(
        self, typed: NormalName, given_bearers: int, family_bearers: int, people: int
    ) -> None:
        super().__init__()
        self._given, self._family = GIVEN_BITS[BOTH_MISSING], FAMILY_BITS[BOTH_MISSING]
        if typed.given:
            self._given = equal_name_bits(given_bearers, people)
        if typed.family:
            self._family = equal_name_bits(family_bearers, people)

    def __missing__(self, names: NameLikeness) -> float:
        given, family = self._given, self._family
        if names.moved:
            given, family = family, given
        # What is less than equal says no more than equal.
        bits = min(GIVEN_BITS[names.given], given) + min(FAMILY_BITS[names.family], family)
        self[names] = bits = bits + MOVED if names.moved else bits
        return bits
