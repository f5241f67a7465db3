"""The programme's stages of the eating plan: found them, change them, sign them, read them."""

import tomllib
from collections.abc import Sequence
from datetime import datetime
from pathlib import Path
from typing import Any

from django.db import transaction
from django.forms.models import model_to_dict

from education.models import StageTable, StageTableSign
from education.rules.body_numbers import Basis
from education.rules.eating_stages import Finding, Stage, Stay, findings, refusals, stays
from education.rules.patient_numbers import Settings
from education.rules.stage_text import as_data, read_stages

STARTER = Path(__file__).with_name("starter_stages.toml")


class StagesDoNotFit(Exception):
    """The stages were not saved: `findings` says why."""

    def __init__(self, found: Sequence[Finding]) -> None:
        super().__init__(", ".join(one.flaw for one in found))
        self.findings = tuple(found)


class ChangedMeanwhile(Exception):
    """Somebody saved the stages after the page was shown."""


def starter_stages() -> tuple[Stage, ...]:
    """Return the stages that a programme starts with."""
    return read_stages(tomllib.loads(STARTER.read_text(encoding="utf-8"))["stage"])


def found(*, at: datetime, by_id: int | None = None) -> StageTable:
    """Write the first table: common practice, not signed by anybody."""
    return StageTable.objects.create(
        number=1,
        stages=[as_data(stage) for stage in starter_stages()],
        recorded_at=at,
        by_id=by_id,
    )


def current() -> StageTable | None:
    """Return the table in force, None if there is none."""
    return StageTable.objects.select_related("sign__by", "by").order_by("number").last()


def change(
    seen: StageTable | None,
    *,
    at: datetime,
    by_id: int,
    stages: Sequence[Stage] | None = None,
    reason: str = "",
    **numbers: Any,
) -> StageTable:
    """Write the next table: `seen` with other stages or numbers; it is not signed yet.

    Raises StagesDoNotFit for a gap, an overlap or another refusal, and ChangedMeanwhile when `seen`
    is not the table in force.
    """
    with transaction.atomic():
        latest = StageTable.objects.select_for_update().order_by("number").last()
        if latest != seen:
            raise ChangedMeanwhile
        before = (
            model_to_dict(latest, exclude=["id", "number", "by", "recorded_at", "reason"])
            if latest
            else {"stages": []}
        )
        if stages is not None:
            before["stages"] = [as_data(stage) for stage in stages]
        table = StageTable(
            **{**before, **numbers},
            number=latest.number + 1 if latest else 1,
            reason=reason,
            recorded_at=at,
            by_id=by_id,
        )
        refused = refusals(flaws(table))
        if refused:
            raise StagesDoNotFit(refused)
        table.save(force_insert=True)
    return table


def sign(table: StageTable, *, at: datetime, by_id: int) -> StageTableSign:
    """A clinician signs a table. Raises ChangedMeanwhile when it is not the one in force."""
    with transaction.atomic():
        latest = StageTable.objects.select_for_update().order_by("number").last()
        if latest != table:
            raise ChangedMeanwhile
        signed, _ = StageTableSign.objects.get_or_create(
            table=table, defaults={"recorded_at": at, "by_id": by_id}
        )
    return signed


def stages_of(table: StageTable) -> tuple[Stage, ...]:
    """Return the stages of a table."""
    return read_stages(table.stages)


def stays_of(table: StageTable) -> tuple[Stay, ...]:
    """Return every stay that the stages have to fit."""
    return stays(
        range(table.fewest_nights, table.most_nights + 1),
        range(table.earliest_visit, table.latest_visit + 1),
    )


def usual_stay(table: StageTable) -> Stay:
    """Return the stay that a plan has when nobody said another."""
    return Stay(table.usual_nights, table.usual_visit)


def flaws(table: StageTable) -> tuple[Finding, ...]:
    """Return what is wrong with a table."""
    return findings(stages_of(table), stays_of(table))


def settings_of(table: StageTable) -> Settings:
    """Return a table's numbers."""
    return Settings(
        protein_floor_g=table.protein_floor_g,
        protein_low_per_kg=table.protein_low_per_kg,
        protein_high_per_kg=table.protein_high_per_kg,
        protein_basis=Basis(table.protein_basis),
        adjusted_factor=table.adjusted_factor,
        fluid_ml=table.fluid_ml,
        protein_per_serving_g=table.protein_per_serving_g,
    )
