"""Read the forms of a rendered page, so that tests send what a person's browser would send."""

from dataclasses import dataclass, field
from html.parser import HTMLParser
from typing import Any

from django.http import HttpResponse


@dataclass
class RenderedForm:
    """Where a form goes, and the fields that it already carries."""

    action: str
    method: str
    fields: dict[str, str] = field(default_factory=dict)


class _Reader(HTMLParser):
    def __init__(self) -> None:
        super().__init__()
        self.forms: list[RenderedForm] = []
        self._open = False

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        given = {name: value or "" for name, value in attrs}
        if tag == "form":
            self.forms.append(RenderedForm(given.get("action", ""), given.get("method", "get")))
            self._open = True
        elif tag == "input" and self._open and "name" in given:
            ticked = given.get("type") in ("checkbox", "radio")
            if not ticked or "checked" in given:
                # HTML: the value of what can be ticked is "on" where none is given.
                value = given.get("value", "on" if ticked else "")
                self.forms[-1].fields[given["name"]] = value

    def handle_endtag(self, tag: str) -> None:
        if tag == "form":
            self._open = False


def forms_of(response: HttpResponse | Any) -> list[RenderedForm]:
    """Return every form of a page."""
    reader = _Reader()
    reader.feed(response.content.decode())
    return reader.forms


def form_to(response: HttpResponse | Any, action: str, **carrying: str) -> dict[str, str]:
    """Return the fields of the one POST form that goes to `action` and carries these values."""
    found = [
        form.fields
        for form in forms_of(response)
        if form.method == "post"
        and form.action == action
        and all(form.fields.get(name) == value for name, value in carrying.items())
    ]
    assert len(found) == 1, f"{len(found)} forms to {action!r}"
    return dict(found[0])
