"""The page of the eating stages: read, changed, signed; a gap or an overlap is never saved."""

import uuid
from typing import Any

import pytest
from django.test import Client

from clinic.forms.eating_stages import NumbersForm, days_of, stage_initial
from clinic.models import Role
from education import stage_tables
from education.models import StageTable
from patients.clock import now
from tests.factories import a_programme, signed_in

pytestmark = pytest.mark.django_db


@pytest.fixture
def table() -> StageTable:
    a_programme()
    return stage_tables.found(at=now())


def days_posted(table: StageTable, **changed: Any) -> dict[str, Any]:
    """What the page of days sends; `changed` by field name: full_liquids_last_days=-3."""
    stages = stage_tables.stages_of(table)
    data: dict[str, Any] = {
        "act_key": str(uuid.uuid4()),
        "seen": table.number,
        "example": "2027-03-10",
        "stage-TOTAL_FORMS": len(stages) + 1,
        "stage-INITIAL_FORMS": len(stages),
        "save": "1",
    }
    for place, stage in enumerate(stages):
        for name, value in days_of(stage).items():
            key = f"{stage.key.replace('-', '_')}_{name}"
            data[f"stage-{place}-{name}"] = changed.get(key, value)
    last = len(stages)
    for anchor in ("first_from", "last_from"):
        data[f"stage-{last}-{anchor}"] = "operation"
    for name in NumbersForm.base_fields:
        value = changed.get(name, getattr(table, name, ""))
        data[name] = "" if value is None else value
    return data | {k: v for k, v in changed.items() if k.startswith("stage-") or k == "seen"}


def posted(client: Client, table: StageTable, **changed: Any) -> Any:
    return client.post("/eating-stages/days/", days_posted(table, **changed))


def test_the_page_says_that_nobody_signed(table: StageTable) -> None:
    page = signed_in(Role.AUDITOR).get("/eating-stages/?example=2027-03-10").content.decode()
    assert "common practice, to be signed by the programme" in page
    assert "Wed 24 February to Mon 8 March 2027, 13 days" in page  # counted on a calendar
    assert "Tue 9 March 2027, 1 day" in page


def test_days_are_changed_together_and_saved_as_the_next_table(table: StageTable) -> None:
    answer = posted(
        signed_in(Role.DIETITIAN),
        table,
        full_liquids_first_days=-21,
        full_liquids_last_days=-3,
        clear_liquids_first_days=-2,
    )
    assert answer.status_code == 302
    after = stage_tables.current()
    assert after is not None
    assert after.number == 2
    first = stage_tables.stages_of(after)[0]
    assert (first.first.days, first.last.days) == (-21, -3)
    assert not hasattr(after, "sign")


@pytest.mark.parametrize(
    "changed, said",
    [
        ({"full_liquids_last_days": -3}, "There is a gap between"),
        ({"full_liquids_last_days": -1}, "overlap"),
        ({"full_liquids_first_days": 5, "full_liquids_last_days": 3}, "ends before it begins"),
        ({"latest_visit": 40, "home_last_from": "operation", "home_last_days": 1}, "begins"),
        ({"fewest_nights": 3}, "must lie between"),
        ({"protein_high_per_kg": "0.5"}, "ends before it begins"),
        ({"full_liquids_name_es": ""}, "Please give it"),
    ],
)
def test_what_does_not_fit_is_not_saved(
    table: StageTable, changed: dict[str, Any], said: str
) -> None:
    answer = posted(signed_in(Role.DIETITIAN), table, **changed)
    assert answer.status_code in (200, 422)
    assert said in answer.content.decode()
    assert StageTable.objects.count() == 1


def test_showing_saves_nothing(table: StageTable) -> None:
    data = days_posted(table, full_liquids_first_days=-21)
    del data["save"]
    answer = signed_in(Role.DIETITIAN).post("/eating-stages/days/", {**data, "show": "1"})
    assert answer.status_code == 200
    assert "Wed 17 February to Mon 8 March 2027, 20 days" in answer.content.decode()
    assert StageTable.objects.count() == 1


def test_a_page_older_than_the_table_saves_nothing(table: StageTable) -> None:
    answer = posted(signed_in(Role.DIETITIAN), table, seen="0")
    assert answer.status_code == 409
    assert StageTable.objects.count() == 1


def test_a_stage_may_be_added_and_taken_out(table: StageTable) -> None:
    client = signed_in(Role.ADMINISTRATOR)
    added = {
        "full_liquids_first_days": -12,
        "stage-5-name_en": "Less sugar",
        "stage-5-name_es": "Menos azúcar",
        "stage-5-first_days": -20,
        "stage-5-last_days": -13,
    }
    assert posted(client, table, **added).status_code == 302
    after = stage_tables.current()
    assert after is not None
    assert [stage.key for stage in stage_tables.stages_of(after)][:2] == [
        "less-sugar",
        "full-liquids",
    ]
    removed = posted(client, after, **{"stage-0-remove": "on"})
    assert removed.status_code == 302
    last = stage_tables.current()
    assert last is not None
    assert next(stage.key for stage in stage_tables.stages_of(last)) == "full-liquids"


def test_what_a_stage_says_is_changed(table: StageTable) -> None:
    stage = stage_tables.stages_of(table)[0]
    data = {k: "" if v is None else v for k, v in stage_initial(stage).items()}
    data |= {"act_key": str(uuid.uuid4()), "seen": table.number, "supplements": 4}
    data = {k: v for k, v in data.items() if v is not False}
    answer = signed_in(Role.DIETITIAN).post("/eating-stages/say/full-liquids/", data)
    assert answer.status_code == 302
    after = stage_tables.current()
    assert after is not None
    changed = stage_tables.stages_of(after)[0]
    assert changed.supplements == 4
    assert (changed.allowed, changed.meals, changed.limits) == (
        stage.allowed,
        stage.meals,
        stage.limits,
    )


def test_as_many_lines_in_each_language(table: StageTable) -> None:
    stage = stage_tables.stages_of(table)[0]
    data = {k: "" if v is None else v for k, v in stage_initial(stage).items() if v is not False}
    data |= {"act_key": str(uuid.uuid4()), "seen": table.number, "to_do_es": "Una sola"}
    answer = signed_in(Role.DIETITIAN).post("/eating-stages/say/full-liquids/", data)
    assert answer.status_code == 422
    assert "as many lines in each language" in answer.content.decode()


def test_a_clinician_signs_what_the_page_showed(table: StageTable) -> None:
    client = signed_in(Role.CLINICIAN)
    old = {"act_key": str(uuid.uuid4()), "seen": "0"}
    client.post("/eating-stages/sign/", old)
    assert not hasattr(stage_tables.current(), "sign")
    client.post("/eating-stages/sign/", {"act_key": str(uuid.uuid4()), "seen": "1"})
    assert hasattr(stage_tables.current(), "sign")


def test_a_programme_without_stages_can_start_with_common_practice() -> None:
    a_programme()
    client = signed_in(Role.DIETITIAN)
    assert "no patient can have an eating plan" in client.get("/eating-stages/").content.decode()
    client.post("/eating-stages/start/", {"act_key": str(uuid.uuid4())})
    assert stage_tables.current() is not None
