"""What the morning list asks the database: a fixed number of queries, and its filters."""

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from tests.clinic.test_morning import LIST, flagged, page, rows
from tests.factories import an_invitation, signed_in

pytestmark = pytest.mark.django_db
QUERIES = 12  # the promise of the morning list


@pytest.mark.parametrize("count", [5, 60])
def test_the_number_of_queries_is_the_same_for_any_number_of_rows(count: int) -> None:
    for assignment in flagged(count)[:20]:
        an_invitation(assignment=assignment)
    client = signed_in("dietitian")
    client.get(LIST)  # the first page of a session writes when it was last seen
    for asked in ("", "?standing=late", "?q=given&standing=every&module=1"):
        with CaptureQueriesContext(connection) as made:
            page(client, LIST + asked)
        assert len(made) <= QUERIES, asked + "\n".join(q["sql"][:200] for q in made)


def test_filters_live_in_the_address() -> None:
    first, second = flagged(2)
    client = signed_in("dietitian")
    name = first.operation.patient.family_names
    monday = first.operation.or_date.isoformat() if first.operation.or_date else ""
    for asked, expected in (
        (f"?q={name}", [first]),
        (f"?q={second.operation.patient.mrn}", [second]),
        ("?standing=due", [first, second]),
        (f"?module={first.module_id}", [first, second]),
        ("?module=9999", []),
        (f"?procedure={first.operation.procedure_id}", [first, second]),
        (f"?week={monday}", [first, second]),
        ("?week=2020-01-06", []),
        ("?standing=cleared", []),
        ("?q=----", []),
    ):
        found = rows(page(client, LIST + asked))
        assert found == [str(a.pk) for a in expected], asked


@pytest.mark.parametrize("asked", ["?page=0", "?page=x", "?module=x", "?week=soon", "?standing=?"])
def test_a_filter_that_cannot_be_read_is_no_error(asked: str) -> None:
    flagged()
    assert signed_in("dietitian").get(LIST + asked).status_code == 200
