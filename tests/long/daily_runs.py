"""The daily mail over simulated time (promise B5).

`.venv/bin/python -m tests.long.daily_runs month` lets three schedulers ask at once for 30 days, of
which three are lost, while dates move, patients are cleared and operations are cancelled.
`.venv/bin/python -m tests.long.daily_runs years [HOURS]` lets two years go by in six zones, asking
every so many hours (4).
Leaves with 1 when a promise is not kept.
"""

import os
import random
import sys
import tempfile
import time as clock
from collections import Counter
from concurrent.futures import ThreadPoolExecutor
from datetime import UTC, date, datetime, time, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import django

FOLDER = tempfile.TemporaryDirectory()
sys.path.insert(0, str(Path(__file__).resolve().parent.parent.parent))
os.environ["DJANGO_SETTINGS_MODULE"] = "clinic.settings"
os.environ["CLINIC_DATA_DIR"] = FOLDER.name
os.environ["LOG_LEVEL"] = "ERROR"
django.setup()

from django.conf import settings  # noqa: E402 - only after the setup
from django.core import mail  # noqa: E402
from django.core.management import call_command  # noqa: E402
from django.db import connection  # noqa: E402

from clinic.models import Role, StaffUser  # noqa: E402
from education import mail_rules  # noqa: E402
from education.assign import require  # noqa: E402
from education.clear import clear_by_teach_back  # noqa: E402
from education.invite import REMINDER  # noqa: E402
from education.models import Assignment, DailyRun, Message  # noqa: E402
from education.publish import publish  # noqa: E402
from education.reminders import DAILY_MAIL, daily_mail  # noqa: E402
from education.rules.module_text import read_module  # noqa: E402
from education.rules.who_is_written_to import ReminderRule  # noqa: E402
from education.send import sweep  # noqa: E402
from patients import programme  # noqa: E402
from patients.clock import local_date  # noqa: E402
from patients.models import Operation, Procedure  # noqa: E402
from patients.register import enrol  # noqa: E402
from patients.schedule import book, change  # noqa: E402

DAY, HOUR = timedelta(days=1), timedelta(hours=1)
# Over a daylight-saving night, Presidents' Day and three days on which nothing ran.
FIRST = date(2026, 2, 12)
DAYS, LOST = 30, range(12, 15)
PATIENTS, SCHEDULERS, CAP = 60, 3, 2
CHICAGO = ZoneInfo("America/Chicago")
# With and without daylight saving, changing at midnight, and by half an hour.
ZONES = (
    "America/New_York",
    "America/Chicago",
    "America/Phoenix",
    "America/Anchorage",
    "America/Havana",
    "Australia/Lord_Howe",
)


def local(day: date, hour: int) -> datetime:
    """An instant by the programme's clock."""
    return datetime.combine(day, time(hour), tzinfo=CHICAGO).astimezone(UTC)


def a_programme_with_patients(chance: random.Random, member: int) -> None:
    """Sixty patients, their operations over the next ten weeks."""
    at = local(FIRST - DAY, 9)
    programme.found(name="Larkfield", time_zone=str(CHICAGO), phone="312 555 0142", at=at)
    mail_rules.change(
        at=at,
        by_id=member,
        invites=True,
        weekly_cap=CAP,
        reminders=mail_rules.as_stored([ReminderRule(n) for n in (14, 7, 3, -1)]),
    )
    procedure = Procedure.objects.create(code="SLV", name="Sleeve gastrectomy")
    text = Path("education/starter/before_your_operation.toml").read_text(encoding="utf-8")
    module = publish(read_module(text), at=at).module
    require(procedure, module, opens_days=-45, clear_by_days=-7, at=at)
    for number in range(PATIENTS):
        patient = enrol(
            mrn=f"LF-{number:03}",
            given_names=f"Given{number}",
            family_names=f"Family{number}",
            birth_date=date(1950, 1, 1) + 97 * number * DAY,
            email=f"reader{number}@example.org",
            at=at,
        )
        book(
            patient=patient,
            procedure=procedure,
            or_date=FIRST + chance.randrange(5, 70) * DAY,
            case_number=f"CASE-{number}",
            surgeon="Dr. Brask",
            facility="Larkfield East",
            at=at,
        )


def ask(at: datetime) -> bool:
    """One scheduler asks."""
    try:
        return daily_mail(at=at)
    finally:
        connection.close()


def live_a_day(day: date, chance: random.Random, member: int) -> int:
    """Everybody asks at once, several times; the mail goes out; then things happen."""
    ran = 0
    for hour in (8, 9, 13, 19):
        with ThreadPoolExecutor(SCHEDULERS) as pool:
            ran += sum(pool.map(ask, [local(day, hour)] * SCHEDULERS))
        sweep(at=local(day, hour))
    at = local(day, 20)
    for operation in Operation.objects.still_open().order_by("pk"):
        fate = chance.random()
        if fate < 0.02 and operation.or_date:
            change(operation, at=at, or_date=operation.or_date + chance.randrange(-9, 20) * DAY)
        elif fate < 0.03:
            change(operation, at=at, booking="cancelled")
        elif fate < 0.06:
            module = Assignment.objects.filter(operation=operation)[0].module
            clear_by_teach_back(operation.patient, module, at=at, by_id=member, note="Said it.")
    return ran


def broken_promises(ran: int) -> list[str]:
    """What does not hold after the month."""
    broken = []
    days = [FIRST + n * DAY for n in range(DAYS) if n not in LOST]
    runs = list(DailyRun.objects.filter(job=DAILY_MAIL, finished_at__isnull=False))
    if ran != len(days) or sorted(run.on for run in runs) != days:
        broken.append(f"{ran} runs on {len(days)} days")
    sent = Message.objects.filter(state="sent").select_related("reminder", "patient")
    per_day = Counter((m.patient_id, m.sent_at and local_date(m.sent_at, CHICAGO)) for m in sent)
    if max(per_day.values()) > 1:
        broken.append("a patient got two emails on one day")
    for patient in {m.patient_id for m in sent}:
        mine = [m.sent_at for m in sent if m.patient_id == patient and m.sent_at]
        got = sorted(local_date(at, CHICAGO) for at in mine)
        if any(later - first < 7 * DAY for first, later in zip(got, got[CAP:], strict=False)):
            broken.append("more than the weekly cap")
    ids = [str(one.extra_headers["Message-ID"]) for one in mail.outbox]
    if len(ids) != len(set(ids)) or len(ids) != sent.count():
        broken.append("an email went out twice, or is on record and did not go out")
    return broken


def month() -> int:
    """Live 30 days with three schedulers; 1 if a promise is broken."""
    chance = random.Random(7)
    member = StaffUser.objects.create_user("d@x.example", "D", Role.DIETITIAN, "x" * 14).pk
    a_programme_with_patients(chance, member)
    ran, wrong_dates, needless = 0, 0, 0
    for number in range(DAYS):
        if number in LOST:
            continue
        day = FIRST + number * DAY
        seen = set(Message.objects.filter(state="sent").values_list("pk", flat=True))
        # What goes out names the clear-by date that holds that day, to whoever is not clear.
        before = {a.pk: a.clear_by for a in Assignment.objects.all()}
        cleared = set(Assignment.objects.cleared().values_list("pk", flat=True))
        ran += live_a_day(day, chance, member)
        for message in Message.objects.filter(state="sent").exclude(pk__in=seen):
            link = message.invitation or message.reminds
            needless += link is not None and link.assignment_id in cleared
            if message.purpose == REMINDER:
                reminder = message.reminder
                wrong_dates += reminder.clear_by != before[reminder.assignment_id]
    broken = broken_promises(ran)
    broken += ["a reminder with an old date"] if wrong_dates else []
    broken += ["an email to somebody who is cleared"] if needless else []
    states = dict(Counter(Message.objects.values_list("purpose", "state")))
    print(f"{DAYS} days, {len(LOST)} lost, {SCHEDULERS} schedulers at once: {ran} runs;", states)
    print("broken:", broken or "nothing")
    return int(bool(broken))


def years() -> int:
    """Live two years in each zone; 1 if a local date was left out or run twice."""
    step = (int(sys.argv[2]) if len(sys.argv) > 2 else 4) * HOUR
    broken = 0
    for zone_name in ZONES:
        zone = ZoneInfo(zone_name)
        begun, first = clock.monotonic(), datetime(2026, 1, 1, 12, tzinfo=UTC)
        programme.found(name="Larkfield", time_zone=zone_name, phone="312 555 0142", at=first)
        DailyRun.objects.all().delete()
        instants = [first + n * step for n in range(2 * 365 * DAY // step)]
        ran = [local_date(at, zone) for at in instants if daily_mail(at=at)]
        # A date counts if its time for sending began and was not over when the clock started.
        expected = {local_date(at, zone) for at in instants if 8 <= at.astimezone(zone).hour < 20}
        good = len(ran) == len(set(ran)) and set(ran) == expected
        broken += not good
        seconds = clock.monotonic() - begun
        print(
            f"{zone_name}: {len(ran)} runs on {len(expected)} local dates, {seconds:.0f} s",
            "" if good else "BROKEN",
        )
    return int(bool(broken))


def main() -> int:
    """Choose by the first argument."""
    call_command("migrate", verbosity=0)
    settings.EMAIL_BACKEND = "django.core.mail.backends.locmem.EmailBackend"
    mail.outbox = []
    begun = clock.monotonic()
    result = years() if "years" in sys.argv else month()
    print(f"{clock.monotonic() - begun:.0f} s")
    return result


if __name__ == "__main__":
    sys.exit(main())
