"""The list's SQL and the pure rule give every assignment the same standing (promise C4)."""

from collections import Counter, defaultdict
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta

import pytest
from django.db import connection, transaction
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st

from education.models import (
    Assignment,
    AssignmentQuerySet,
    Clearance,
    Edition,
    Module,
    Revocation,
    SecondOpinion,
    SignOff,
    SignOffRevocation,
    Waiver,
    WaiverRevocation,
)
from education.rules.standing import Evidence, Standing
from education.standings import Told, standings
from patients import programme
from patients.models import Booking, Merge, Operation, Patient, Programme
from tests.factories import ProgrammeFacts, a_procedure, drawn
from tests.which_database import ON_POSTGRES

pytestmark = pytest.mark.django_db

TODAY = date(2026, 3, 10)
AT = datetime(2026, 3, 10, 15, tzinfo=UTC)
# Two modules each: 5,400 assignments on SQLite and as many other ones on PostgreSQL.
EXAMPLES, OPERATIONS = 18, 150
BYTES = 24  # for one operation, its patient's clearances and its waivers
MODULES = ("sips", "home")


class Drawn:
    """Small numbers out of one operation's random bytes; a finding shrinks to small numbers."""

    def __init__(self, drawn_bytes: bytes) -> None:
        self._bytes: Iterator[int] = iter(drawn_bytes)

    def below(self, limit: int) -> int:
        """Return a number from 0 to `limit` - 1."""
        return next(self._bytes) % limit

    def day(self, earliest: int, count: int) -> date:
        """Return one of `count` days, the first one `earliest` days from today."""
        return TODAY + timedelta(days=earliest + self.below(count))


@dataclass
class Records:
    """What one example puts into the database. Days lie close, so that boundaries are met often."""

    clinician: int
    patients: list[Patient]
    editions: dict[str, list[Edition]]
    operations: list[Operation]
    assignments: list[Assignment]
    clearances: list[Clearance]


def _lay(clinician: int, rows: list[bytes], superseding: bytes) -> Records:
    """Write the records of one example, past the acts for speed, in states that acts can reach."""
    laid = Records(clinician, [], {}, [], [], [])
    laid.patients = Patient.objects.bulk_create(
        Patient(
            mrn=f"T{n}",
            given_names="Ana",
            birth_date=date(1980, 1, 1),
            name_key="ana",
            recorded_at=AT,
        )
        for n in range(1 + len(rows) * 2 // 3)
    )
    flags = Drawn(superseding)
    for code in MODULES:
        module = Module.objects.create(code=code)
        laid.editions[code] = Edition.objects.bulk_create(
            Edition(
                module=module,
                number=number,
                title={},
                languages=[],
                pass_mark=80,
                earlier_clearances_count=flags.below(4) > 0,
                recorded_at=AT,
            )
            for number in (1, 2, 3)
        )
    drawn_rows = [Drawn(row) for row in rows]
    _lay_operations(laid, drawn_rows)
    _lay_clearances(laid, drawn_rows)
    _lay_waivers(laid, drawn_rows)
    return laid


def _lay_operations(laid: Records, rows: list[Drawn]) -> None:
    procedure = a_procedure()
    laid.operations = Operation.objects.bulk_create(
        Operation(
            patient=laid.patients[row.below(len(laid.patients))],
            procedure=procedure,
            or_date=row.day(-4, 14) if row.below(10) else None,
            booking=Booking.PROPOSED,
            recorded_at=AT,
        )
        for row in rows
    )
    made = []
    for operation, row in zip(laid.operations, rows, strict=True):
        for code in MODULES:
            shift, length = timedelta(days=row.below(12)), timedelta(days=row.below(7))
            # The module "home" is due around the operation and after it.
            last = timedelta(days=0 if code == "sips" else 6)
            opens = operation.or_date and operation.or_date - shift + last - length
            made.append(
                Assignment(
                    operation=operation,
                    module=laid.editions[code][0].module,
                    opens_on=opens,
                    clear_by=opens and opens + length,
                    due_before_operation=code == "sips",
                    closed=row.below(8) == 0,
                    recorded_at=AT,
                )
            )
    laid.assignments = Assignment.objects.bulk_create(made)


def _lay_clearances(laid: Records, rows: list[Drawn]) -> None:
    laid.clearances = Clearance.objects.bulk_create(
        Clearance(
            patient=operation.patient,
            module=edition.module,
            edition=edition,
            cleared_on=row.day(-14, 18),
            evidence=Evidence.TEACH_BACK,
            recorded_at=AT,
            by_id=laid.clinician,
        )
        for operation, row in zip(laid.operations, rows, strict=True)
        for code in MODULES
        if row.below(3)
        for edition in [laid.editions[code][row.below(3)]]
    )
    laid.clearances += _carried(laid, rows)
    dice = iter(range(10**6))
    Revocation.objects.bulk_create(
        Revocation(clearance=clearance, reason="x", recorded_at=AT, by_id=laid.clinician)
        for clearance in laid.clearances
        if next(dice) % 5 == 0
    )
    of: dict[tuple[int, int], list[Clearance]] = defaultdict(list)
    for clearance in laid.clearances:
        of[clearance.patient_id, clearance.module_id].append(clearance)
    # Every second pair is signed off, whether or not it is late: only late ones may matter.
    signed = SignOff.objects.bulk_create(
        SignOff(
            assignment=assignment,
            clearance=clearance,
            reason="x",
            needs_second=next(dice) % 3 == 0,
            recorded_at=AT,
            by_id=laid.clinician,
        )
        for assignment in laid.assignments
        for clearance in of[assignment.operation.patient_id, assignment.module_id]
        if next(dice) % 2
    )
    SignOffRevocation.objects.bulk_create(
        SignOffRevocation(sign_off=one, reason="x", recorded_at=AT, by_id=laid.clinician)
        for one in signed
        if next(dice) % 7 == 0
    )
    SecondOpinion.objects.bulk_create(
        SecondOpinion(
            sign_off=one,
            agrees=next(dice) % 2 == 0,
            reason="x",
            recorded_at=AT,
            by_id=laid.clinician,
        )
        for one in signed
        if one.needs_second and next(dice) % 3
    )


def _carried(laid: Records, rows: list[Drawn]) -> list[Clearance]:
    """Clearances of records that were merged into the patients', and the same on the patients'."""
    merged = Patient.objects.bulk_create(
        Patient(
            mrn=f"M{n}",
            given_names="Ana",
            birth_date=date(1980, 1, 1),
            name_key="ana",
            merged_into=patient,
            recorded_at=AT,
        )
        for n, patient in enumerate(laid.patients)
    )
    merges = Merge.objects.bulk_create(
        Merge(kept=kept, merged=gone, reason="x", recorded_at=AT, by_id=laid.clinician)
        for kept, gone in zip(laid.patients, merged, strict=True)
    )
    by_kept = {merge.kept_id: merge for merge in merges}
    originals = Clearance.objects.bulk_create(
        Clearance(
            patient=by_kept[operation.patient_id].merged,
            module=edition.module,
            edition=edition,
            cleared_on=row.day(-14, 18),
            evidence=Evidence.TEACH_BACK,
            recorded_at=AT,
            by_id=laid.clinician,
        )
        for operation, row in zip(laid.operations, rows, strict=True)
        if row.below(4) == 0
        for edition in [laid.editions[MODULES[row.below(2)]][row.below(3)]]
    )
    gone_to = {merge.merged_id: merge for merge in merges}
    return Clearance.objects.bulk_create(
        Clearance(
            patient=gone_to[original.patient_id].kept,
            module=original.module,
            edition=original.edition,
            cleared_on=original.cleared_on,
            evidence=original.evidence,
            carried_from=original,
            merge=gone_to[original.patient_id],
            recorded_at=AT,
            by_id=laid.clinician,
        )
        for original in originals
    )


def _lay_waivers(laid: Records, rows: list[Drawn]) -> None:
    """None, one, one revoked, or one revoked and another that holds."""
    waivers = []
    for number, row in enumerate(rows):
        kind = row.below(24)
        for place in range({0: 1, 1: 1, 2: 2}.get(kind, 0)):
            waivers.append((laid.assignments[2 * number], kind > 0 and place == 0))
    stored = Waiver.objects.bulk_create(
        Waiver(
            assignment=assignment,
            reason="x",
            needs_second=assignment.pk % 3 == 0,
            recorded_at=AT,
            by_id=laid.clinician,
        )
        for assignment, _ in waivers
    )
    SecondOpinion.objects.bulk_create(
        SecondOpinion(
            waiver=one, agrees=one.pk % 2 == 0, reason="x", recorded_at=AT, by_id=laid.clinician
        )
        for one in stored
        if one.needs_second and one.pk % 3
    )
    WaiverRevocation.objects.bulk_create(
        WaiverRevocation(waiver=waiver, reason="x", recorded_at=AT, by_id=laid.clinician)
        for waiver, (_, revoked) in zip(stored, waivers, strict=True)
        if revoked
    )


def _in_sql(everything: AssignmentQuerySet, notice_days: int) -> dict[Standing, set[int]]:
    found = {
        Standing.CLEARED: everything.cleared(),
        Standing.NEEDS_SIGN_OFF: everything.needs_sign_off(),
        Standing.LATE: everything.late(on=TODAY),
        Standing.DUE: everything.due(on=TODAY, notice_days=notice_days),
        Standing.NOT_DUE: everything.not_due(on=TODAY, notice_days=notice_days),
    }
    return {name: set(rows.values_list("pk", flat=True)) for name, rows in found.items()}


def _compare(told: list[Told], everything: AssignmentQuerySet, notice_days: int) -> None:
    in_sql = _in_sql(everything, notice_days)
    for one in told:
        words = {name for name, ids in in_sql.items() if one.assignment.pk in ids}
        assert words == {one.answer.standing}, (one.facts, notice_days)
    flagged = set(
        everything.flagged(on=TODAY, notice_days=notice_days).values_list("pk", flat=True)
    )
    assert flagged == {one.assignment.pk for one in told if one.answer.flagged}
    counted = Counter(one.answer.standing for one in told)
    assert everything.counts(on=TODAY, notice_days=notice_days) == {
        standing: counted[standing] for standing in Standing
    }


def _compare_attention(told: list[Told], everything: AssignmentQuerySet) -> None:
    """Closed ones are out; after the operation only what is due afterwards stays."""
    kept = {
        one.assignment.pk
        for one in told
        if not one.assignment.closed
        and (
            one.facts.or_date is None
            or one.facts.or_date >= TODAY
            or not one.assignment.due_before_operation
        )
    }
    found = everything.wanting_attention(on=TODAY)
    assert set(found.values_list("pk", flat=True)) == kept


def test_sql_and_rule_agree(clinician: int) -> None:
    seen: Counter[Standing] = Counter()
    closed: Counter[bool] = Counter()

    @settings(
        max_examples=EXAMPLES,
        deadline=None,
        database=None,
        # The message of a failure names one assignment's facts; shrinking 300 would take minutes.
        phases=[Phase.generate],
        suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large],
    )
    @given(
        st.lists(
            st.binary(min_size=BYTES, max_size=BYTES), min_size=OPERATIONS, max_size=OPERATIONS
        ),
        st.binary(min_size=6, max_size=6),
        st.integers(0, 5),
    )
    def agree(rows: list[bytes], superseding: bytes, notice_days: int) -> None:
        with transaction.atomic():
            in_force: Programme = programme.found(
                **drawn(ProgrammeFacts, notice_days=notice_days), at=AT
            )
            _lay(clinician, rows, superseding)
            if ON_POSTGRES:  # else it plans for the empty tables of the test before
                connection.cursor().execute("ANALYZE")
            everything = Assignment.objects.all()
            listed = list(everything.select_related("operation").order_by("pk"))
            told = standings(listed, on=TODAY)
            assert len(told) == len(listed) == 2 * OPERATIONS
            _compare(told, everything, in_force.notice_days)
            _compare_attention(told, everything)
            seen.update(one.answer.standing for one in told)
            closed.update(one.assignment.closed for one in told)
            transaction.set_rollback(True)

    agree()
    assert seen.total() >= 5_000
    assert min(seen[standing] for standing in Standing) >= 100, seen
    assert closed[True] >= 100
