"""How the eating plan's numbers look on staff pages."""

from collections.abc import Mapping
from decimal import Decimal

from django import template

from clinic import eating_words
from clinic.forms.eating_stages import BASES
from education.rules.body_numbers import Basis, Figure, Missing
from education.rules.fluids import us_fl_oz, whole

register = template.Library()


@register.filter
def weight_basis(code: str) -> str:
    """Return of which weight the programme takes its grams of protein."""
    name = BASES[Basis(code)]
    return name[:1].lower() + name[1:]


@register.filter
def both_fluids(ml: int | Decimal) -> str:
    """Return millilitres in both units: 1893 mL (64 US fl oz)."""
    return f"{whole(Decimal(ml))} mL ({whole(us_fl_oz(ml))} US fl oz)"


@register.filter
def lines_in(lines: Mapping[str, tuple[str, ...]], code: str) -> tuple[str, ...]:
    """Return the lines in a language; none where it has none."""
    return lines.get(code, ())


@register.filter
def plain(value: Decimal) -> str:
    """Return a number without zeros behind it: 30, 27.5."""
    return f"{value.normalize():f}"


@register.filter
def number(value: Figure | Missing) -> str:
    """Return a number in both units, or why there is none."""
    return eating_words.number(value)


@register.filter
def basis(value: Figure | Missing) -> str:
    """Return what a number rests on and who published it."""
    return eating_words.basis(value)
