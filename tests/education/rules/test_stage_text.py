"""Stages as data: the starter ones are complete and careful, and every problem is named."""

import json
from typing import Any

import pytest

from education.readability import Passage, read
from education.rules.eating_stages import findings, stays
from education.rules.reading import grade
from education.rules.stage_text import REQUIRED, StageProblems, as_data, read_stages
from education.stage_tables import starter_stages

STAGES = starter_stages()


def test_the_starter_stages_fit_every_stay() -> None:
    assert findings(STAGES, stays(range(0, 4), range(5, 22))) == ()


def test_written_and_read_again_they_are_the_same() -> None:
    assert read_stages(json.loads(json.dumps([as_data(stage) for stage in STAGES]))) == STAGES


@pytest.mark.parametrize("language", REQUIRED)
def test_the_starter_stages_are_easy_to_read(language: str) -> None:
    """Promise W9: at most 20 words a sentence; grade 6 or lower in English, as a whole."""
    blocks = tuple(
        line
        for stage in STAGES
        for lines in (stage.allowed, stage.avoided, stage.to_do)
        for line in lines[language]
    ) + tuple(stage.meal[language] for stage in STAGES if stage.meals)
    assert read(Passage("stages", language, blocks)).long_sentences == ()
    if language == "en":
        assert grade(blocks) <= 6


def broken(**changed: Any) -> list[dict[str, Any]]:
    return [{**as_data(STAGES[0]), **changed}]


@pytest.mark.parametrize(
    "data, said",
    [
        (broken(key="Full Liquids"), "a key is of small letters"),
        (broken(name={"en": "Only English"}), "name in es"),
        (broken(first={"from": "birth", "days": 1}), "birth"),
        (broken(last={"from": "operation"}), "days is missing"),
        (broken(last={"from": "operation", "days": 9999}), "a whole number"),
        (broken(supplements="three"), "supplements: a whole number"),
        (broken(allowed={"en": ["one", "two"], "es": ["uno"]}), "not as many lines"),
        (broken(energy=[1200, 800]), "ends before it begins"),
        (broken(limits={"salt_at_most": "3"}), "salt_at_most"),
        (broken(allowed={"en": ["x" * 301], "es": ["y"]}), "at most 12 lines"),
    ],
)
def test_what_is_wrong_is_named(data: list[dict[str, Any]], said: str) -> None:
    with pytest.raises(StageProblems) as problem:
        read_stages(data)
    assert said in str(problem.value)
