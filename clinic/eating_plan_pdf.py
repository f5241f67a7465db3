"""A patient's eating plan as a PDF, with the identifiers and the OR date on each page."""

from datetime import datetime
from pathlib import Path

from django.utils import translation

from clinic.typeset import Data, typeset
from education import eating_texts
from education.plan_of import PlanOf
from education.written_days import language

TEMPLATE = Path(__file__).with_name("eating_plan.typ")


class NotToBeGiven(Exception):
    """Something holds the plan, or it has no dates: there is no copy."""


def write(
    found: PlanOf, *, language: str, at: datetime, ignore_system_fonts: bool = False
) -> bytes:
    """Return the document in a language. Raises NotToBeGiven when something holds the plan."""
    if not found.may_be_given:
        raise NotToBeGiven(str(found.plan.refused or found.holds))
    with translation.override(language):
        data = content(found, at=at)
    return typeset(TEMPLATE, "plan", lambda _: data, ignore_system_fonts=ignore_system_fonts)


def content(found: PlanOf, *, at: datetime) -> Data:
    """Return what the document says, in the active language; strings only."""
    stages = eating_texts.stages(found)
    return {
        "lang": language(),
        "title": eating_texts.title(),
        "programme": found.programme.name,
        "header": eating_texts.header(found),
        "footer": eating_texts.footer(found, at=at),
        "draft": eating_texts.draft(found),
        "starts": eating_texts.starts(found),
        "made": [eating_texts.made_for(found), eating_texts.void()],
        "amounts": eating_texts.amounts(found),
        "stages": {
            "head": eating_texts.stage_head(),
            "rows": [
                [
                    f"{one.name}\n{one.when}",
                    "; ".join(one.allowed),
                    "; ".join(one.avoided),
                    " ".join(one.to_do),
                ]
                for one in stages
            ],
        },
        "meals": eating_texts.meals(found),
        "cautions": [[title, lines] for title, lines in eating_texts.cautions(found)],
        "days": {
            "title": eating_texts.days_title(),
            "head": eating_texts.day_head(),
            "rows": [[one.when, one.stage, one.what] for one in eating_texts.days(found)],
        },
        "totals": eating_texts.totals(found),
    }
