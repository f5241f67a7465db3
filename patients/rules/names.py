"""When do two written names count as the same name?

Names are compared in a normal form only; what was typed is stored and shown unchanged.
"""

import unicodedata

# Letters that compatibility decomposition leaves whole. Common practice in record linkage.
LETTERS = str.maketrans(
    {"ß": "ss", "ø": "o", "ł": "l", "đ": "d", "ð": "d", "æ": "ae", "œ": "oe", "þ": "th", "ı": "i"}
)

# What is typed or pasted for an apostrophe, half rings of transliterated Arabic included.
APOSTROPHES = "'`´ʼ‘’‛′‵＇｀ʻʹʾʿꞌꞋ"


def name_tokens(name: str) -> tuple[str, ...]:
    """Return the words of a name in lower case without accents, marks or punctuation.

    Apostrophes join ("O'Neill" is one word), hyphens and every kind of space part. Scripts that
    have no case or accents come through unchanged. Shape: a tuple of non-empty words, in order.
    """
    joined = "".join(char for char in name if char not in APOSTROPHES)
    # Folded again: decorative letters have a case only once they are decomposed.
    decomposed = unicodedata.normalize("NFKD", joined.casefold()).casefold()
    lowered = decomposed.translate(LETTERS)
    words = [""]
    latin = False
    for char in lowered:
        category = unicodedata.category(char)
        if category[0] in "LN":
            latin = unicodedata.name(char, "").startswith("LATIN")
            words[-1] += char
        elif category[0] == "M" and not latin and not _selects_a_glyph(char):
            words[-1] += char  # a vowel sign of another script is part of the name
        elif category[0] in "ZPS" or category == "Cc":
            words.append("")
        # Latin accents and invisible format characters vanish without parting a word.
    return tuple(word for word in words if word)


def _selects_a_glyph(char: str) -> bool:
    """Variation selectors (Unicode standard, section 23.4) say how to draw a character."""
    return "\ufe00" <= char <= "\ufe0f" or "\U000e0100" <= char <= "\U000e01ef"


def name_key(given_names: str, family_names: str) -> str:
    """Return one text that is equal for names with the same words in any order."""
    return " ".join(sorted(name_tokens(given_names) + name_tokens(family_names)))
