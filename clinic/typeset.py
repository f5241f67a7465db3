"""Set a document as a tagged PDF, with typst, from a template beside the code.

A document comes as data, never as markup. The typesetter's own fonts come first (Latin, Greek,
Cyrillic, Hebrew), then whatever fonts the machine has; nothing is downloaded. A character that no
font can draw is printed as its Unicode number: a name never comes out as empty boxes.
"""

import json
import re
import unicodedata
from collections.abc import Callable
from pathlib import Path
from typing import Any

import typst

UNDRAWN = re.compile(r'the text `"(.+?)"` could not be displayed')
# Which order a line is read in is the document's matter: these turn the text behind them round.
TURNS = frozenset("\u200e\u200f\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069")
TRIES = 8
UNIVERSAL_ACCESS = "ua-1"  # PDF/UA-1, ISO 14289-1

Data = dict[str, Any]


def typeset(
    template: Path, name: str, data: Callable[[bool], Data], *, ignore_system_fonts: bool = False
) -> bytes:
    """Return the document.

    `name`: of the input that the template reads the data from, as JSON. `data`: makes it, told
    whether some characters are printed as numbers. `ignore_system_fonts`: only the typesetter's
    own.
    """
    undrawn: set[str] = set()
    for _ in range(TRIES):
        shown = _spelled_out(data(bool(undrawn)), undrawn)
        try:
            return _compiled(
                template, name, shown, ignore_system_fonts, standard=[UNIVERSAL_ACCESS]
            )
        except typst.TypstError as refused:
            found = set("".join(UNDRAWN.findall(f"{refused.message}\n{refused.diagnostic}")))
            if not found - undrawn:
                break
            undrawn |= found
    return _compiled(template, name, shown, ignore_system_fonts, standard=[])


def _compiled(
    template: Path, name: str, data: Data, ignore_system_fonts: bool, *, standard: list[Any]
) -> bytes:
    compiler = typst.Compiler(
        template,
        root=template.parent,
        ignore_system_fonts=ignore_system_fonts,
        sys_inputs={name: json.dumps(data)},
    )
    made = compiler.compile(format="pdf", pdf_standards=standard)
    if not isinstance(made, bytes):
        raise TypeError("a PDF is one file")
    return made


def _spelled_out(value: Any, undrawn: set[str]) -> Any:
    """Put a Unicode number in place of each character that cannot be drawn or is not to be."""
    if isinstance(value, str):
        return "".join(
            f"[U+{ord(char):04X}]" if char in undrawn or _hidden(char) else char for char in value
        )
    if isinstance(value, list):
        return [_spelled_out(one, undrawn) for one in value]
    if isinstance(value, dict):
        return {key: _spelled_out(one, undrawn) for key, one in value.items()}
    return value


def _hidden(char: str) -> bool:
    return char in TURNS or (unicodedata.category(char) == "Cc" and char not in "\n\t")
