"""Put what somebody typed back into a page's form, wherever the page has one that fits.

Only values are changed, in the page as it was made: every form of staff's is filled without its
view knowing of it.
"""

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field
from html import escape
from html.parser import HTMLParser
from itertools import accumulate
from urllib.parse import urljoin, urlsplit

Typed = Mapping[str, Sequence[str]]
Attributes = list[tuple[str, str | None]]
_NOT_TYPED = {"file", "password", "submit", "button", "image", "reset"}


@dataclass(frozen=True)
class Filled:
    """The page, and the names of what found no place on it."""

    html: str
    left: tuple[str, ...]


@dataclass
class _Control:
    """An input, a text area or a choice, and where its parts stand in the page."""

    tag: str
    name: str
    attributes: Attributes
    begin: int
    end: int
    text: tuple[int, int] = (0, 0)  # what stands in a text area
    options: list["_Control"] = field(default_factory=list)

    def has(self, name: str) -> str:
        return next((value or "" for key, value in self.attributes if key == name), "")


@dataclass
class _Form:
    action: str
    controls: list[_Control] = field(default_factory=list)


def filled(
    html: str, *, page: str, action: str, typed: Typed, keep: Collection[str] = ()
) -> Filled:
    """Return a page with the form that goes to `action` filled with what was typed.

    `page` is the page's own path; fields named in `keep` stay as they are (keys of the form).
    """
    reader = _Reader(html, page)
    reader.feed(html)
    reader.close()
    found = [form for form in reader.forms if form.action == action]
    if not found:
        return Filled(html, tuple(typed))
    form = max(found, key=lambda one: _fit(one, typed))
    edits: list[tuple[int, int, str]] = []
    for control in form.controls:
        if control.name not in keep:
            edits += _edits(control, typed)
    for begin, end, text in sorted(edits, reverse=True):
        html = html[:begin] + text + html[end:]
    placed = {control.name for control in form.controls}
    return Filled(html, tuple(name for name in typed if name not in placed))


def _fit(form: _Form, typed: Typed) -> tuple[int, int]:
    """How well a form fits: hidden values that are the same, then names."""
    hidden = [one for one in form.controls if one.has("type") == "hidden"]
    same = sum(one.has("value") in typed.get(one.name, ()) for one in hidden)
    return same, len({one.name for one in form.controls} & set(typed))


def _edits(control: _Control, typed: Typed) -> list[tuple[int, int, str]]:
    values = typed.get(control.name)
    kind = control.has("type").lower()
    if control.tag == "input" and kind in ("checkbox", "radio"):
        ticked = (control.has("value") or "on") in (values or ())
        return [(control.begin, control.end, _tag(control, "checked", ticked=ticked))]
    if values is None or kind in _NOT_TYPED:
        return []
    if control.tag == "select":
        return [
            (one.begin, one.end, _tag(one, "selected", ticked=one.has("value") in values))
            for one in control.options
        ]
    value = values[0]
    if control.tag == "textarea":
        # The first line end of a text area is not part of its text.
        return [(*control.text, "\n" + escape(value, quote=False))]
    kept = [(name, said) for name, said in control.attributes if name != "value"]
    return [(control.begin, control.end, _written("input", [*kept, ("value", value)]))]


def _tag(control: _Control, mark: str, *, ticked: bool) -> str:
    kept = [(name, said) for name, said in control.attributes if name != mark]
    return _written(control.tag, [*kept, (mark, None)] if ticked else kept)


def _written(tag: str, attributes: Attributes) -> str:
    said = (name if value is None else f'{name}="{escape(value)}"' for name, value in attributes)
    return f"<{' '.join((tag, *said))}>"


class _Reader(HTMLParser):
    """Finds the forms that are sent by POST, with the place of each control."""

    def __init__(self, html: str, page: str) -> None:
        super().__init__(convert_charrefs=True)
        self.forms: list[_Form] = []
        self._page = page
        self._lines = [0, *accumulate(len(line) for line in html.split("\n"))]
        self._form: _Form | None = None
        self._open: _Control | None = None

    def handle_starttag(self, tag: str, attrs: Attributes) -> None:
        begin = self._at()
        end = begin + len(self.get_starttag_text() or "")
        given = {name: value or "" for name, value in attrs}
        if tag == "form":
            address = urlsplit(urljoin(self._page, given.get("action", "")))
            self._form = _Form(address.path)
            if given.get("method", "").lower() == "post":
                self.forms.append(self._form)
        elif self._form is None:
            return
        elif tag in ("input", "textarea", "select"):
            control = _Control(tag, given.get("name", ""), attrs, begin, end)
            self._form.controls.append(control)
            self._open = control if tag != "input" else None
        elif tag == "option" and self._open is not None:
            self._open.options.append(_Control(tag, self._open.name, attrs, begin, end))

    def handle_endtag(self, tag: str) -> None:
        if tag == "form":
            self._form = None
        elif self._open is not None and tag == self._open.tag:
            self._open.text = (self._open.end, self._at())
            self._open = None

    def _at(self) -> int:
        line, offset = self.getpos()
        return self._lines[line - 1] + (line - 1) + offset
