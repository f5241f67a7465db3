"""An earlier commit's code on today's tables (fault 22, promise T8).

`-m tests.long.older_code COMMIT` migrates a PostgreSQL by the code as it is, and lets the code of
the commit work on it, as it does while machines are renewed one after the other: it enrols, books,
invites, a patient takes the quiz, staff open their lists, and the sender sends. Leaves with 1 if
any of it fails.
"""

import os
import subprocess
import sys
import tarfile
from io import BytesIO
from pathlib import Path
from tempfile import TemporaryDirectory
from urllib.parse import quote

from tests import servers
from tests.long.installation import ROOT

WORK = """
import django; django.setup()
from django.conf import settings
from django.core import mail
from django.test.utils import setup_test_environment
from django.urls import reverse
setup_test_environment()
from clinic.models import Role
from education.models import Clearance
from education.send import sweep
from patients.clock import now
from tests.education.phone import Phone
from tests.factories import a_patient, a_programme, an_assignment, an_invitation
from tests.factories import an_operation, signed_in
a_programme()
for n in range(3):
    patient = a_patient(given_names="Odalys", family_names="Trent" + "abc"[n])
    phone = Phone(*an_invitation(assignment=an_assignment(operation=an_operation(patient=patient))))
    born = patient.birth_date
    phone.take_quiz(given_names="Odalys", family_names="Trent" + "abc"[n],
        day=str(born.day), month=str(born.month), year=str(born.year))
assert Clearance.objects.count() == 3, Clearance.objects.count()
an_invitation()  # the others were cleared meanwhile, so their emails are withdrawn
assert sweep(at=now()) == 1
for name in ("morning", "operations", "submissions", "mail", "modules"):
    answer = signed_in(Role.DIETITIAN).get(reverse(name))
    assert answer.status_code == 200, (name, answer.status_code)
answer = signed_in(Role.DIETITIAN).get(reverse("patient", args=[patient.pk]))
assert answer.status_code == 200, answer.status_code
print("enrolled, invited, quizzes taken, cleared, sent, lists opened")
"""


def main() -> int:
    """Migrate by today's code, work by the commit's."""
    commit = sys.argv[1]
    with TemporaryDirectory(prefix="clear-by-older-") as folder, servers.postgres() as database:
        older = Path(folder, "older")
        packed = subprocess.run(
            ["git", "archive", commit], cwd=ROOT, capture_output=True, check=True
        ).stdout
        with tarfile.open(fileobj=BytesIO(packed)) as archive:
            archive.extractall(older, filter="data")
        env = os.environ | {
            "DJANGO_SETTINGS_MODULE": "clinic.settings",
            "DATABASE_URL": f"postgresql://postgres@{quote(database.host, safe='')}/postgres",
            "CLINIC_DATA_DIR": f"{folder}/data",
            "LOG_LEVEL": "ERROR",
        }
        for where, command in (
            (ROOT, ["manage.py", "migrate", "--verbosity", "0"]),
            (older, ["-c", WORK]),
        ):
            ended = subprocess.run([sys.executable, *command], cwd=where, env=env, check=False)
            if ended.returncode:
                print(f"failed: {commit} on today's tables")
                return 1
    return 0


if __name__ == "__main__":
    sys.exit(main())
