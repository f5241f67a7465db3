"""A module's text becomes HTML that can do nothing but be read (promise T2)."""

from html.parser import HTMLParser

import pytest

from education.markdown import to_html


def test_paragraphs_lists_and_stress_come_through() -> None:
    html = to_html("**Call** first.\n\n- one\n- two")
    assert "<strong>Call</strong>" in html
    assert "<li>one</li>" in html


# Shapes of the OWASP filter evasion cheat sheet, from memory.
@pytest.mark.parametrize(
    "text",
    [
        "<script>alert(1)</script>",
        "<img src=x onerror=alert(1)>",
        "[press](javascript:alert(1))",
        "[press](JaVaScRiPt:alert(1))",
        "[press](data:text/html;base64,PHNjcmlwdD4=)",
        "![x](http://elsewhere.example/pixel.png)",
        "<style>p{display:none}</style>",
        '<p style="display:none" onclick="alert(1)">x</p>',
        "<svg/onload=alert(1)>",
        "<iframe src=//elsewhere.example></iframe>",
    ],
)
def test_markup_in_a_text_is_shown_and_never_run(text: str) -> None:
    page = _Elements()
    page.feed(to_html(text))
    assert page.tags <= {"p", "a"}
    assert page.attributes == set()


class _Elements(HTMLParser):
    """What a browser makes of it: the elements, and their attributes but for rel."""

    def __init__(self) -> None:
        super().__init__()
        self.tags: set[str] = set()
        self.attributes: set[tuple[str, str | None]] = set()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.add(tag)
        self.attributes |= {(name, value) for name, value in attrs if name != "rel"}
