"""Read stages from plain data (a TOML file, a JSON column) and write them back.

Everything that is wrong is reported at once, each problem with the stage that it is about.
"""

import re
from collections.abc import Mapping, Sequence
from dataclasses import fields
from decimal import Decimal, InvalidOperation
from typing import Any

from education.rules.eating_stages import Anchor, Edge, Lines, Meals, Stage, Texts
from education.rules.label import Limits
from patients.rules.languages import BUILT_IN, codes

# A further language may be written later; until then its readers read the English words.
REQUIRED = tuple(one.code for one in BUILT_IN)
FURTHEST = 365  # days from an anchor
MAX_TEXT = 300  # characters of a name or a line
MAX_LINES = 12
MAX_STAGES = 20
KEY = re.compile(r"[a-z0-9]+(?:-[a-z0-9]+)*")

Data = dict[str, Any]


class StageProblems(ValueError):
    """What is wrong, in plain words, in the order of the data."""

    def __init__(self, problems: Sequence[str]) -> None:
        super().__init__("; ".join(problems))
        self.problems = tuple(problems)


def read_stages(data: Sequence[Mapping[str, Any]]) -> tuple[Stage, ...]:
    """Return the stages in their order. Raises StageProblems with everything that is wrong."""
    problems: list[str] = []
    if len(data) > MAX_STAGES:
        raise StageProblems([f"at most {MAX_STAGES} stages"])
    stages = []
    for place, one in enumerate(data, start=1):
        where = str(one.get("key") or f"stage {place}")
        try:
            stages.append(_stage(one))
        except (KeyError, TypeError, ValueError, InvalidOperation) as wrong:
            problems.append(f"{where}: {_said(wrong)}")
    if problems:
        raise StageProblems(problems)
    return tuple(stages)


def as_data(stage: Stage) -> Data:
    """Return a stage as `read_stages` takes it; every value fits JSON."""
    data: Data = {
        "key": stage.key,
        "name": dict(stage.name),
        "first": {"from": stage.first.anchor.value, "days": stage.first.days},
        "last": {"from": stage.last.anchor.value, "days": stage.last.days},
        "allowed": {code: list(lines) for code, lines in stage.allowed.items()},
        "avoided": {code: list(lines) for code, lines in stage.avoided.items()},
        "to_do": {code: list(lines) for code, lines in stage.to_do.items()},
        "supplements": stage.supplements,
        "meal": dict(stage.meal),
        "limits": {
            f.name: str(getattr(stage.limits, f.name))
            for f in fields(Limits)
            if getattr(stage.limits, f.name) is not None
        },
        "nothing_by_mouth": stage.nothing_by_mouth,
        "counts_fluid": stage.counts_fluid,
    }
    if stage.energy:
        data["energy"] = list(stage.energy)
    if stage.meals:
        meals = stage.meals
        data["meals"] = {
            "count": meals.count,
            "apart": meals.apart,
            "last_days": meals.last_days,
        }
    return data


def _stage(data: Mapping[str, Any]) -> Stage:
    key = data["key"]
    if not isinstance(key, str) or not KEY.fullmatch(key) or len(key) > 60:
        raise ValueError("a key is of small letters, digits and hyphens")
    meals = data.get("meals")
    meal = _texts(data["meal"], "meal") if meals else {}
    return Stage(
        key=key,
        name=_texts(data["name"], "name"),
        first=_edge(data["first"], "first"),
        last=_edge(data["last"], "last"),
        allowed=_lines(data["allowed"], "allowed"),
        avoided=_lines(data["avoided"], "avoided"),
        to_do=_lines(data["to_do"], "to_do"),
        supplements=_number(data.get("supplements", 0), "supplements", 0, 12),
        meals=_meals(meals) if meals else None,
        meal=meal,
        energy=_energy(data.get("energy")),
        limits=_limits(data.get("limits", {})),
        nothing_by_mouth=bool(data.get("nothing_by_mouth", False)),
        counts_fluid=bool(data.get("counts_fluid", True)),
    )


def _texts(data: Mapping[str, Any], what: str) -> Texts:
    texts = {code: str(data.get(code, "")).strip() for code in codes()}
    for code, text in texts.items():
        if (not text and code in REQUIRED) or len(text) > MAX_TEXT:
            raise ValueError(f"{what} in {code}: 1 to {MAX_TEXT} characters")
    return {code: text for code, text in texts.items() if text}


def _lines(data: Mapping[str, Any], what: str) -> Lines:
    found: Lines = {}
    for code in codes():
        lines = tuple(line for line in (str(one).strip() for one in data.get(code, ())) if line)
        if len(lines) > MAX_LINES or any(len(line) > MAX_TEXT for line in lines):
            raise ValueError(f"{what} in {code}: at most {MAX_LINES} lines of {MAX_TEXT}")
        if lines or code in REQUIRED:
            found[code] = lines
    if len({len(lines) for lines in found.values()}) > 1:
        raise ValueError(f"{what}: not as many lines in each language")
    return found


def _edge(data: Mapping[str, Any], what: str) -> Edge:
    return Edge(Anchor(data["from"]), _number(data["days"], what, -FURTHEST, FURTHEST))


def _meals(data: Mapping[str, Any]) -> Meals:
    return Meals(
        count=_number(data["count"], "meals", 1, 60),
        apart=_number(data["apart"], "days between meals", 1, 30),
        last_days=_number(data["last_days"], "last day for a meal", -FURTHEST, FURTHEST),
    )


def _energy(data: Any) -> tuple[int, int] | None:
    if not data:
        return None
    low, high = (_number(value, "energy", 100, 5000) for value in data)
    if high < low:
        raise ValueError("energy: the range ends before it begins")
    return low, high


def _limits(data: Mapping[str, Any]) -> Limits:
    return Limits(**{name: Decimal(str(value)) for name, value in data.items()})


def _number(value: Any, what: str, least: int, most: int) -> int:
    if isinstance(value, bool) or not isinstance(value, int) or not least <= value <= most:
        raise ValueError(f"{what}: a whole number from {least} to {most}")
    return value


def _said(wrong: Exception) -> str:
    if isinstance(wrong, KeyError):
        return f"{wrong.args[0]} is missing"
    return str(wrong) or "not readable"
