"""How long do eating plans take?  `-m tests.benchmarks.eating_plans [PATIENTS]`

One plan with its PDF (limit 1 s), and every plan anew after each OR date moved (limit 30 s for
1,000). A plan is computed when it is asked for, so a moved date leaves nothing to write. The floor,
measured in the same run, is the pure rule alone on the same dates.
"""

import os
import sys
import tempfile
import time
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from pathlib import Path

import django

FOLDER = tempfile.TemporaryDirectory()
sys.path.insert(0, str(Path(__file__).resolve().parent.parent.parent))
os.environ["DJANGO_SETTINGS_MODULE"] = "clinic.settings"
os.environ["CLINIC_DATA_DIR"] = FOLDER.name
django.setup()

from django.core.management import call_command  # noqa: E402 - only after the setup

from clinic import eating_plan_pdf  # noqa: E402
from clinic.models import Role, StaffUser  # noqa: E402
from education import stage_tables  # noqa: E402
from education.eating_record import TypedFacts, record_facts  # noqa: E402
from education.plan_of import plan_of  # noqa: E402
from education.rules.eating_plan import Choices, Daily, eating_plan  # noqa: E402
from education.rules.may_give import Medicine  # noqa: E402
from education.stages_today import stages_today  # noqa: E402
from patients import programme  # noqa: E402
from patients.models import Operation, Procedure  # noqa: E402
from patients.register import enrol  # noqa: E402
from patients.schedule import book  # noqa: E402

AT = datetime(2026, 11, 25, 15, 0, tzinfo=UTC)
PDF_LIMIT = 1.0  # seconds for a plan with its PDF
LIMIT = 30.0  # seconds for 1,000 plans


def main() -> int:
    """Fill a database, then time the rule, the plans, the list of today and a PDF."""
    patients = int(sys.argv[1]) if len(sys.argv) > 1 else 1_000
    call_command("migrate", verbosity=0)
    _fill(patients)
    table = stage_tables.current()
    if table is None:
        raise LookupError("no stages")
    operations = list(Operation.objects.select_related("patient", "procedure"))
    stages, choices = stage_tables.stages_of(table), Choices(stage_tables.usual_stay(table))
    begun = time.perf_counter()
    for operation in operations:
        eating_plan(
            operation.or_date,
            stages,
            choices,
            Daily(Decimal(30), 1893),
            given_on=AT.date(),
            today=AT.date(),
        )
    rule = time.perf_counter() - begun
    begun = time.perf_counter()
    plans = [plan_of(operation, at=AT) for operation in operations]
    whole = time.perf_counter() - begun
    begun = time.perf_counter()
    stages_today(at=AT)
    today = time.perf_counter() - begun
    begun = time.perf_counter()
    found = plan_of(operations[0], at=AT)
    if found is None:
        raise LookupError("no plan")
    made = eating_plan_pdf.write(found, language="en", at=AT)
    pdf = time.perf_counter() - begun
    print(f"{len(plans)} plans: the rule alone {rule:.2f} s, with what is on record {whole:.2f} s")
    print(f"the list of today: {today:.2f} s; one plan with its PDF ({len(made)} B): {pdf:.2f} s")
    return int(pdf > PDF_LIMIT or whole > LIMIT * max(1, patients / 1000))


def _fill(patients: int) -> None:
    by = StaffUser.objects.create_user("d@larkfield.example", "D", Role.DIETITIAN, "not-signed-in")
    programme.found(name="Larkfield", time_zone="America/Chicago", phone="312", at=AT)
    stage_tables.found(at=AT)
    procedure = Procedure.objects.create(code="SLV", name="Sleeve gastrectomy")
    said: dict[Medicine, bool | None] = dict.fromkeys(Medicine, False)
    facts = TypedFacts("120 kg", Decimal(120), "165 cm", Decimal(165), None, said)
    for number in range(patients):
        patient = enrol(
            mrn=f"M{number}",
            given_names=f"Given{number}",
            family_names=f"Family{number}",
            birth_date=date(1960, 1, 1) + timedelta(days=number * 7),
            email="",
            phone="",
            at=AT,
        )
        record_facts(patient, facts, at=AT, by_id=by.pk)
        or_date = AT.date() + timedelta(days=1 + number % 60)
        book(patient=patient, procedure=procedure, or_date=or_date, at=AT, case_number=f"C{number}")


if __name__ == "__main__":
    sys.exit(main())
