"""When two written names count as the same name, row by row, and the similarity measure's values.

What decides about letters is the Unicode Character Database as Python ships it (`unicodedata`).
"""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from patients.rules.names import APOSTROPHES, NormalName, name_key, name_tokens, normal_name

# written, its words, why
WORDS = [
    ("Ana", ("ana",), "case does not tell people apart"),
    ("MARÍA josé", ("maria", "jose"), "accents are often left out on a phone's keyboard"),
    ("Zoe\u0308", ("zoe",), "an accent typed as a mark of its own"),
    ("Nguyễn", ("nguyen",), "two marks on one letter"),
    ("Weiß", ("weiss",), "sharp s is written ss in capitals"),
    ("WEISS", ("weiss",), "and back"),
    ("Søren", ("soren",), "o with stroke does not decompose"),
    ("Łukasz", ("lukasz",), "nor l with stroke"),
    ("Đặng", ("dang",), "nor d with stroke"),
    ("Guðrún", ("gudrun",), "nor eth"),
    ("Þóra", ("thora",), "thorn is written th"),
    ("Kjær", ("kjaer",), "ae"),
    ("Lecœur", ("lecoeur",), "oe"),
    ("Yıldız", ("yildiz",), "dotless i"),
    ("İpek", ("ipek",), "capital i with a dot"),
    ("ﬁona", ("fiona",), "a ligature pasted from a PDF"),
    ("Ａｎａ", ("ana",), "full-width letters of a Japanese keyboard"),
    ("𝐀na", ("ana",), "a letter from a decorative font, in upper case after decomposition"),
    ("Anne-Marie", ("anne", "marie"), "a hyphen parts"),
    ("Anne\u2011Marie", ("anne", "marie"), "so does the one that forbids a line break"),
    ("Anne–Marie", ("anne", "marie"), "and a dash typed for it"),
    ("Anne\u00adMarie", ("annemarie",), "a soft hyphen is invisible"),
    ("  Ana   Lucía  ", ("ana", "lucia"), "blanks around and between"),
    ("Ana\u00a0Lucía", ("ana", "lucia"), "a no-break space"),
    ("Ana\u3000Lucía", ("ana", "lucia"), "an ideographic space"),
    ("Ana\tLucía\r\n", ("ana", "lucia"), "tab and line end, from a file"),
    ("Ana\x00Lucía", ("ana", "lucia"), "a control character"),
    ("J. R. Ortiz", ("j", "r", "ortiz"), "full stops"),
    ("Ortiz, Ana", ("ortiz", "ana"), "a comma"),
    ("Ana (Anita)", ("ana", "anita"), "brackets"),
    ("A\u200bna", ("ana",), "a zero-width space"),
    ("\ufeffAna", ("ana",), "a byte-order mark"),
    ("\u3164Ana", ("ana",), "a letter of Hangul that nobody sees"),
    ("\u3164", (), "and nothing else"),
    ("\u202eAna\u202c", ("ana",), "a right-to-left override"),
    ("A\u2060n\u200da", ("ana",), "word joiner and zero-width joiner"),
    ("Ana\ufe0f", ("ana",), "a variation selector"),
    ("山田\ufe00", ("山田",), "also behind a character that keeps its marks"),
    ("葛\U000e0100城", ("葛城",), "the selector of a glyph variant"),
    ("Ana 😀", ("ana",), "a picture is no part of the name"),
    ("山田", ("山田",), "Chinese characters have no case and no accents"),
    ("ﾔﾏﾀﾞ", ("ヤマ" + "タ\u3099",), "half-width katakana, voicing mark kept"),
    ("ヤマダ", ("ヤマ" + "タ\u3099",), "the same, full-width"),
    ("Иван", ("иван",), "Cyrillic has case"),
    ("Νίκος", ("νικοσ",), "final sigma is a sigma"),
    ("ΓΙΩΡΓΟΣ", ("γιωργοσ",), "capitals go without the Greek accents,"),
    ("Γιώργος", ("γιωργοσ",), "which small letters have"),
    ("Королёв", ("королев",), "the dots of a Russian letter are left out at will"),
    ("Бойко", ("бои\u0306ко",), "what makes another letter stays"),
    ("Їжак", ("і\u0308жак",), "so do Ukrainian dots"),
    ("أحمد", ("احمد",), "so are the signs on an Arabic alif,"),
    ("مُحَمَّد", ("محمد",), "the vowels,"),
    ("محـمد", ("محمد",), "and a line that stretches the word"),
    ("מִרְיָם", ("מרים",), "Hebrew points"),
    ("מרים", ("מרים",), "right-to-left script"),
    ("محمد", ("محمد",), "right-to-left script with joined letters"),
    ("राम", ("राम",), "a Devanagari vowel sign is part of the name"),
    ("X", ("x",), "one letter"),
    ("Henry 3", ("henry", "3"), "a digit"),
    ("", (), "nothing"),
    (" - ' ", (), "nothing but marks"),
]


@pytest.mark.parametrize("written, words, why", WORDS, ids=[row[2] for row in WORDS])
def test_words_of_a_name(written: str, words: tuple[str, ...], why: str) -> None:
    assert name_tokens(written) == words


def test_a_hangul_name_is_equal_however_its_syllables_are_encoded() -> None:
    composed, apart = "김", "\u1100\u1175\u11b7"  # Unicode standard, section 3.12
    assert name_tokens(composed) == name_tokens(apart) != ()


APOSTROPHES_TYPED = [
    ("'", "typewriter apostrophe"),
    ("’", "the one that phones type"),
    ("‘", "the opening one"),
    ("‛", "reversed"),
    ("`", "grave accent key"),
    ("´", "acute accent key"),
    ("ʼ", "modifier letter"),
    ("′", "prime"),
    ("‵", "reversed prime"),
    ("＇", "full-width"),
    ("｀", "full-width grave"),
    ("ʻ", "Hawaiian okina"),
    ("ʹ", "modifier prime"),
    ("ʾ", "transliterated hamza"),
    ("ʿ", "transliterated ayn"),
    ("ꞌ", "saltillo"),
    ("Ꞌ", "capital saltillo"),
    ("ʽ", "reversed comma"),
    ("ˀ", "modifier glottal stop"),
    ("ˈ", "modifier vertical line"),
    ("ˁ", "modifier reversed glottal stop"),
    ("ˊ", "modifier acute"),
    ("ˋ", "modifier grave"),
    ("՚", "Armenian"),
    ("׳", "Hebrew geresh"),
    ("΄", "Greek tonos"),
    ("᾽", "Greek koronis"),
    ("᾿", "Greek smooth breathing"),
]


# The property Dash in PropList.txt of the Unicode Character Database, beside the category Pd.
DASHES = "⁓⁻₋−"


@pytest.mark.parametrize("sign", [*"-‐‑‒–—―﹣－⸺", *DASHES, *"⁃˗·‧_~=", " - ", "\u00ad "])
def test_hyphens_of_every_kind_join_what_is_one_name(sign: str) -> None:
    assert normal_name(f"Jia{sign}jun", "Yang") == normal_name("Jia-jun", "Yang")


@pytest.mark.parametrize("sign, why", APOSTROPHES_TYPED, ids=[r[1] for r in APOSTROPHES_TYPED])
def test_apostrophes_of_every_kind_join(sign: str, why: str) -> None:
    assert name_tokens(f"O{sign}Neill") == ("oneill",)


def test_every_listed_apostrophe_is_tried() -> None:
    assert set(APOSTROPHES) == {sign for sign, _ in APOSTROPHES_TYPED}


# given, family; given, family; equal?; why
KEYS = [
    (("Ana", "Ruiz"), ("ana", "RUIZ"), True, "case"),
    (("Ana", "Ruiz"), ("Ruiz", "Ana"), True, "given and family names exchanged"),
    (("Ana María", "Ruiz"), ("Ana", "María Ruiz"), True, "a name in the other field"),
    (("Suharto", ""), ("", "Suharto"), True, "one name only, in either field"),
    (("Ana", "Ruiz-Ortiz"), ("Ana", "Ortiz Ruiz"), True, "a compound in the other order"),
    (("Ana", "Ruiz"), ("Ana", "Ruis"), False, "one letter is another name"),
    (("Ana", "Ruiz"), ("Ana María", "Ruiz"), False, "a further given name"),
    (("राम", ""), ("रम", ""), False, "without its vowel sign it is another name"),
    (("محمد", ""), ("محمود", ""), False, "two Arabic names of one root"),
    (("Ana", "Ana"), ("Ana", ""), False, "a name twice is not a name once"),
]


@pytest.mark.parametrize("one, other, equal, why", KEYS, ids=[row[3] for row in KEYS])
def test_key_of_a_name(one: tuple[str, str], other: tuple[str, str], equal: bool, why: str) -> None:
    assert (name_key(*one) == name_key(*other)) is equal


def test_the_key_of_nothing_is_empty() -> None:
    assert name_key("", "\u200b") == ""


# written given and family name; given and family in normal form; generation; why
NORMAL = [
    (("Dr. Ana", "Ruiz"), ("ana", "ruiz"), "", "a title"),
    (("Mrs Prof. Ana", "Ruiz"), ("ana", "ruiz"), "", "two titles"),
    (("Sra. Ana", "Ruiz"), ("ana", "ruiz"), "", "a Spanish title"),
    (("Ana", "Dr. Ruiz"), ("ana", "ruiz"), "", "a title before the family name"),
    (("Ana", "Ruiz, PhD, RN"), ("ana", "ruiz"), "", "degrees"),
    (("Ana", "Ruiz Jr."), ("ana", "ruiz"), "2", "junior"),
    (("Ana", "Ruiz - Jr., RN"), ("ana", "ruiz"), "2", "behind a hyphen"),
    (("Ana III", "Ruiz"), ("ana", "ruiz"), "3", "behind the given name"),
    (("Ana", "Ruiz Sr"), ("ana", "ruiz"), "1", "senior, not señor"),
    (("Ana", "Ruiz Sr., M.D."), ("ana", "ruiz"), "1", "before a degree with points"),
    (("Ana", "Ruiz Jnr, Ph.D., R.N."), ("ana", "ruiz"), "2", "before two"),
    (("Ruiz, M.D.", "Ana"), ("ruiz", "ana"), "", "in the other field"),
    (("Doctora Ana", "Señora Ruiz"), ("ana", "ruiz"), "", "titles in full"),
    (("M. D.", "Ruiz"), ("m d", "ruiz"), "", "nothing but two initials stays"),
    (("Md", "R.D."), ("md", "r d"), "", "in either field"),
    (("Dr", "Ruiz"), ("dr", "ruiz"), "", "nothing but a title stays"),
    (("Anne-Marie Luz", "Ruiz-Ortiz"), ("anne-marie luz", "ruiz-ortiz"), "", "hyphens stay"),
    (("Anne – Marie", "Ruiz- Ortiz"), ("anne-marie", "ruiz-ortiz"), "", "blanks round a hyphen"),
    (("- Anne --Marie", "Ruiz -"), ("anne-marie", "ruiz"), "", "hyphens with nothing to join"),
    (("Don", "Do"), ("don", "do"), "", "these are names"),
    (("", "-"), ("", ""), "", "nothing"),
]


@pytest.mark.parametrize("written, normal, generation, why", NORMAL, ids=[r[3] for r in NORMAL])
def test_normal_form(
    written: tuple[str, str], normal: tuple[str, str], generation: str, why: str
) -> None:
    assert normal_name(*written) == NormalName(*normal, generation)


@given(st.text(max_size=60), st.text(max_size=60))
def test_normal_form_twice_changes_nothing(given_names: str, family_names: str) -> None:
    once = normal_name(given_names, family_names)
    twice = normal_name(once.given, once.family)
    assert (twice.given, twice.family) == (once.given, once.family)


@given(st.text(st.characters(max_codepoint=127), max_size=40))
def test_the_short_way_for_ascii_is_the_long_way(written: str) -> None:
    """Beside a letter with an accent the long way is taken."""
    assert name_tokens(written) == name_tokens(f"{written} é")[:-1]
