"""Promise W7: a date of birth in three fields, and a message of its own for each slip."""

from datetime import date

import pytest
from babel.dates import get_month_names

from education.rules.birth_date import Code, Field, Problem, read_birth_date

TODAY = date(2026, 11, 25)

SPELLINGS = [
    # day, month, year, why somebody writes it so
    ("7", "3", "1970", "plain numbers"),
    ("07", "03", "1970", "leading noughts"),
    (" 7 ", " 3 ", " 1970 ", "blanks left by a keyboard"),
    ("7", "March", "1970", "the name in English"),
    ("7", "march", "1970", "small letters"),
    ("7", "MARCH", "1970", "capitals"),
    ("7", "Mar", "1970", "cut short"),
    ("7", "Mar.", "1970", "cut short, with a full stop"),
    ("7", "MAR", "1970", "as on an identity card"),
    ("7", "marzo", "1970", "the name in Spanish"),
    ("7", "Marzo", "1970", "with a capital, though Spanish has none"),
    ("7", "MARZO", "1970", "Spanish in capitals"),
    ("7th", "March", "1970", "an English ordinal"),
    ("7TH", "March", "1970", "an English ordinal in capitals"),
    ("7º", "marzo", "1970", "a Spanish ordinal"),
    ("7.º", "marzo", "1970", "a Spanish ordinal, by the book"),
    ("7°", "marzo", "1970", "the degree sign in its place"),
    ("７", "３", "１９７０", "fullwidth digits of an Asian keyboard"),
    ("٧", "٣", "١٩٧٠", "Arabic-Indic digits"),
    ("۷", "۳", "۱۹۷۰", "Persian digits"),
    ("७", "३", "१९७०", "Devanagari digits"),
    ("7", "March", "'1970", "a stray apostrophe"),
    ("7\u200e", "3\u200e", "1970\u200e", "invisible direction marks"),
    ("7\u00a0", "3\u00a0", "1970\u00a0", "no-break spaces"),
]
OTHER_DAYS = [
    ("1st", "January", "1980", date(1980, 1, 1)),
    ("1", "enero", "1980", date(1980, 1, 1)),
    ("1ro", "ene", "1980", date(1980, 1, 1)),
    ("1ero", "Ene.", "1980", date(1980, 1, 1)),
    ("2nd", "Feb", "1980", date(1980, 2, 2)),
    ("2", "febrero", "1980", date(1980, 2, 2)),
    ("3rd", "abr", "1980", date(1980, 4, 3)),
    ("3", "Apr", "1980", date(1980, 4, 3)),
    ("4", "mayo", "1980", date(1980, 5, 4)),
    ("4", "may", "1980", date(1980, 5, 4)),
    ("5", "junio", "1980", date(1980, 6, 5)),
    ("5", "Jun", "1980", date(1980, 6, 5)),
    ("6", "jul.", "1980", date(1980, 7, 6)),
    ("8", "agosto", "1980", date(1980, 8, 8)),
    ("8", "Aug", "1980", date(1980, 8, 8)),
    ("8", "ago", "1980", date(1980, 8, 8)),
    ("9", "Sept", "1980", date(1980, 9, 9)),
    ("9", "Sept.", "1980", date(1980, 9, 9)),
    ("9", "septiembre", "1980", date(1980, 9, 9)),
    ("9", "setiembre", "1980", date(1980, 9, 9)),
    ("9", "set", "1980", date(1980, 9, 9)),
    ("10", "OCTUBRE", "1980", date(1980, 10, 10)),
    ("11", "novíembre", "1980", date(1980, 11, 11)),
    ("12", "Dic", "1980", date(1980, 12, 12)),
    ("29", "2", "1980", date(1980, 2, 29)),
    ("25", "11", "2026", date(2026, 11, 25)),
    ("25", "11", "1906", date(1906, 11, 25)),
]
READ = [(*row[:3], date(1970, 3, 7)) for row in SPELLINGS] + OTHER_DAYS


def test_w7_there_are_at_least_48_spellings() -> None:
    assert len(READ) >= 48


@pytest.mark.parametrize("day, month, year, meant", READ)
def test_w7_a_spelling_is_read(day: str, month: str, year: str, meant: date) -> None:
    assert read_birth_date(day, month, year, on=TODAY) == meant


WRONG = [
    # day, month, year, what is wrong and where
    ("", "", "", {"day": Code.EMPTY, "month": Code.EMPTY, "year": Code.EMPTY}),
    (" ", "3", "1970", {"day": Code.EMPTY}),
    ("31", "2", "1970", {"day": Code.NO_SUCH_DAY}),
    ("31", "febrero", "1970", {"day": Code.NO_SUCH_DAY}),
    ("31", "April", "1970", {"day": Code.NO_SUCH_DAY}),
    ("29", "2", "1971", {"day": Code.NO_SUCH_DAY}),
    ("29", "2", "1900", {"year": Code.TOO_LONG_AGO}),
    ("0", "3", "1970", {"day": Code.NO_SUCH_DAY}),
    ("32", "3", "1970", {"day": Code.NO_SUCH_DAY}),
    ("7", "13", "1970", {"month": Code.NO_SUCH_MONTH}),
    ("7", "0", "1970", {"month": Code.NO_SUCH_MONTH}),
    ("7", "ma", "1970", {"month": Code.UNKNOWN_MONTH}),
    ("7", "mzo", "1970", {"month": Code.UNKNOWN_MONTH}),
    ("7", "Brumaire", "1970", {"month": Code.UNKNOWN_MONTH}),
    ("7", "3/70", "1970", {"month": Code.UNKNOWN_MONTH}),
    ("7", "3", "70", {"year": Code.TWO_DIGIT_YEAR}),
    ("7", "3", "'70", {"year": Code.TWO_DIGIT_YEAR}),
    ("7", "3", "970", {"year": Code.NOT_FOUR_DIGITS}),
    ("7", "3", "19700", {"year": Code.NOT_FOUR_DIGITS}),
    ("7", "3", "2027", {"year": Code.IN_THE_FUTURE}),
    ("7", "12", "2026", {"month": Code.IN_THE_FUTURE}),
    ("26", "11", "2026", {"day": Code.IN_THE_FUTURE}),
    ("24", "11", "1906", {"year": Code.TOO_LONG_AGO}),
    ("7", "3", "0000", {"year": Code.TOO_LONG_AGO}),
    ("seven", "3", "1970", {"day": Code.NOT_A_NUMBER}),
    ("7/3", "3", "1970", {"day": Code.NOT_A_NUMBER}),
    ("7", "3", "MCMLXX", {"year": Code.NOT_A_NUMBER}),
    ("-7", "3", "1970", {"day": Code.NOT_A_NUMBER}),
    ("7", "3", "9" * 100_000, {"year": Code.TOO_LONG}),
    ("9" * 41, "m" * 41, "1970", {"day": Code.TOO_LONG, "month": Code.TOO_LONG}),
    ("31", "2", "71", {"day": Code.NO_SUCH_DAY, "year": Code.TWO_DIGIT_YEAR}),
]


@pytest.mark.parametrize("day, month, year, wrong", WRONG)
def test_w7_each_slip_lands_on_the_field_that_is_wrong(
    day: str, month: str, year: str, wrong: dict[str, Code]
) -> None:
    expected = tuple(Problem(Field(field), code) for field, code in wrong.items())
    assert read_birth_date(day, month, year, on=TODAY) == expected


@pytest.mark.parametrize("language", ["en", "es"])
@pytest.mark.parametrize("width", ["wide", "abbreviated"])
@pytest.mark.parametrize("context", ["format", "stand-alone"])
def test_w7_every_month_name_of_unicode_is_read(language: str, width: str, context: str) -> None:
    """Source: the Common Locale Data Repository of Unicode, as Babel carries it."""
    names = get_month_names(width, context, language)  # type: ignore[arg-type]
    read = [read_birth_date("1", names[number], "1970", on=TODAY) for number in range(1, 13)]
    assert read == [date(1970, number, 1) for number in range(1, 13)]


@pytest.mark.parametrize("year", range(1907, 2027))
def test_w7_29_february_exists_in_the_years_that_the_calendar_says(year: int) -> None:
    """Source: the Gregorian rule, every fourth year but 1900; 2000 is one (Inter gravissimas)."""
    leap = year % 4 == 0 and (year % 100 != 0 or year % 400 == 0)
    read = read_birth_date("29", "2", str(year), on=TODAY)
    assert read == (date(year, 2, 29) if leap else (Problem(Field.DAY, Code.NO_SUCH_DAY),))
