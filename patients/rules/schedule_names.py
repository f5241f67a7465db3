"""How is a name on a schedule stored?  As written, unless it is written all in one case.

Operating-room systems like to print everything in capitals. A name that is all capitals or all
small letters is stored as people write names; anything else comes through unchanged.
"""

import unicodedata

from patients.rules.names import APOSTROPHES

# Marks of a generation that are written in capitals. Common practice.
GENERATIONS = {"Ii": "II", "Iii": "III", "Iv": "IV"}


def in_one_case(name: str) -> bool:
    """Say whether a name has letters with case, all of them capitals or all of them small."""
    return name.isupper() or name.islower()


def readable(name: str) -> str:
    """Return a name with a capital at the start of each word, hyphen or apostrophe part.

    O'NEILL-DÍAZ becomes O'Neill-Díaz. MCDONALD becomes Mcdonald: where more capitals belong
    cannot be known. Particles get capitals too: DE LA CRUZ becomes De La Cruz.
    """
    written = []
    at_start = True
    for char in name.lower():
        written.append(char.title() if at_start else char)
        if char.isalpha():
            at_start = False
        elif char in APOSTROPHES or unicodedata.category(char)[0] not in "MC":
            at_start = True  # accents and invisible characters do not part a word
    return " ".join(GENERATIONS.get(word, word) for word in "".join(written).split(" "))
