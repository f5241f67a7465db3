"""What a page must be for everyone: judged by axe-core, and measured in the browser.

axe-core comes with the package axe-playwright-python; it is put into the page through the
browser's own debugging protocol, so the page's content security policy stays as it is.
"""

import os
from dataclasses import dataclass, field
from typing import Any

from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Page

AXE = Axe().axe_script
HEIGHT = 800
# target-size is WCAG 2.2's 2.5.8, 24 by 24 CSS px; axe leaves it off unless it is asked for.
EVERY_RULE = {"rules": {"target-size": {"enabled": True}}}
# Comparing colours is most of the work, and a page has at 200 % the colours that it has at 360 px.
ALL_BUT_COLOURS = {
    "rules": {"target-size": {"enabled": True}, "color-contrast": {"enabled": False}}
}
# Dark and forced colours change no more than colours.
COLOURS = {
    "runOnly": {"type": "tag", "values": ["cat.color"]},
    "rules": {"color-contrast-enhanced": {"enabled": False}},  # AAA
}
RUN = """
async options => (await axe.run(document, options)).violations.flatMap(wrong =>
  wrong.nodes.map(node => [wrong.id, node.html.slice(0, 120), node.failureSummary].join(": "))
)
"""


@dataclass(frozen=True)
class Look:
    """One way to look at a page."""

    name: str
    width: int
    scheme: str = "light"
    forced: str = "none"
    options: dict[str, Any] = field(default_factory=dict)


# 640 px is what is left of 1280 at 200 %: the browser lays out in CSS pixels (WCAG 2.2, 1.4.4).
AT_200 = Look("1280 px at 200 %", 640, options=ALL_BUT_COLOURS)
# The colours are the same in every width, so each width is looked at in other colours.
LOOKS = (
    Look("1280 px", 1280, options=EVERY_RULE),
    Look("360 px, dark", 360, scheme="dark", options=EVERY_RULE),
    AT_200,
)
# There the browser puts its own colours in place of nearly all of ours.
FORCED = Look("360 px, forced colours", 360, forced="active", options=COLOURS)
# Each width in each of the colours: EVERY_LOOK=1 in the environment.
EVERY_LOOK = (
    Look("1280 px", 1280, options=EVERY_RULE),
    Look("360 px", 360, options=EVERY_RULE),
    AT_200,
    Look("1280 px, dark", 1280, scheme="dark", options=COLOURS),
    Look("360 px, dark", 360, scheme="dark", options=COLOURS),
    FORCED,
)

# Every visible target with its size; a control counts together with its labels, as a press on a
# label is a press on it. Left out, as WCAG 2.2 leaves them out: links inside a sentence.
TARGETS = """
() => {
  const inline = el => {
    if (el.tagName !== "A" || getComputedStyle(el).display !== "inline") return false;
    const own = el.textContent.trim();
    const block = el.closest("p, li, dd, td, th, h1, h2, h3");
    return block !== null && block.textContent.trim() !== own;
  };
  return [...document.querySelectorAll("a[href], button, input, select, textarea, summary")]
    .filter(el => el.type !== "hidden" && el.checkVisibility() && !inline(el))
    .map(el => {
      const boxes = [el, ...(el.labels || [])].map(part => part.getBoundingClientRect());
      const width = Math.max(...boxes.map(b => b.right)) - Math.min(...boxes.map(b => b.left));
      const height = Math.max(...boxes.map(b => b.bottom)) - Math.min(...boxes.map(b => b.top));
      return {what: el.outerHTML.slice(0, 100), width, height};
    })
    .filter(target => target.width > 0);
}
"""


def look_at(page: Page, look: Look) -> None:
    """Lay the page out anew for another way to look at it."""
    page.set_viewport_size({"width": look.width, "height": HEIGHT})
    page.emulate_media(
        color_scheme="dark" if look.scheme == "dark" else "light",
        forced_colors="active" if look.forced == "active" else "none",
        reduced_motion="reduce",  # else axe sees a colour on its way to another
    )


def violations(page: Page, *, forced: bool = True) -> list[str]:
    """Everything that axe finds wrong with the page, in each of the looks."""
    page.evaluate(AXE)
    looks = EVERY_LOOK if os.environ.get("EVERY_LOOK") else (*LOOKS, FORCED) if forced else LOOKS
    found: list[str] = []
    for look in looks:
        look_at(page, look)
        # No preload: it fetches style sheets anew, for rules that are not asked for.
        options = look.options | {
            "resultTypes": ["violations"],
            "preload": False,
            "selectors": False,
        }
        found += [f"{look.name}: {wrong}" for wrong in page.evaluate(RUN, options)]
    look_at(page, LOOKS[0])
    return found


def sideways(page: Page, width: int) -> int:
    """How many pixels the page is wider than a screen of this width."""
    look_at(page, Look("narrow", width))
    wider: int = page.evaluate("document.documentElement.scrollWidth") - width
    return max(wider, 0)


def too_small(page: Page, least: int, width: int) -> list[str]:
    """The targets that are smaller than `least` by `least` CSS px on a screen of this width."""
    look_at(page, Look("touch", width))
    return [
        f"{target['width']:.0f} x {target['height']:.0f}: {target['what']}"
        for target in page.evaluate(TARGETS)
        if min(target["width"], target["height"]) < least - 0.5  # half a pixel of rounding
    ]
