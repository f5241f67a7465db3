"""Answers of every kind stand in the clearance record in words, in the spreadsheet and in FHIR."""

import pytest

from clinic.evidence import as_csv, as_fhir
from clinic.evidence.gather import gather
from clinic.evidence.record import ClearanceRecord
from education.answers_in_words import in_words
from education.given import from_json
from education.models import Submission
from patients.clock import now
from tests.clinic.evidence.test_as_fhir import check, of_type
from tests.education.every_kind import EVERY_KIND
from tests.factories import a_submission, an_assignment, an_edition, an_invitation

pytestmark = pytest.mark.django_db


@pytest.fixture
def record() -> ClearanceRecord:
    assignment = an_assignment(module=an_edition(EVERY_KIND).module)
    link, _ = an_invitation(assignment=assignment)
    a_submission(link, wrong=2)
    return gather(assignment.operation.patient, on=None, at=now(), by="Casimir Boateng")


def test_the_spreadsheet_has_every_answer_in_words(record: ClearanceRecord) -> None:
    answers = [row for row in as_csv.rows(record) if row.kind == "answer"]
    stored = Submission.objects.get().answers.order_by("question__position")
    for row, answer in zip(answers, stored, strict=True):
        assert answer.given is not None
        assert row.name == answer.question.name
        words = in_words(answer.question, from_json(answer.given), "en")
        assert row.note == as_csv.LIST.join(words)
        assert row.what == ("right" if answer.right else "wrong")
    order = next(row for row in answers if row.name == "order")
    assert order.note == as_csv.LIST.join(["1. Wait", "2. Sip", "3. Sit"])


def test_fhir_has_a_group_for_pairs_and_a_repeated_answer_for_an_order(
    record: ClearanceRecord,
) -> None:
    """FHIR R4: an item is a group or has answers; a link id stands once in a Questionnaire."""
    written = as_fhir.write(record, site="https://clearby.example")
    check(written)
    (asked,) = of_type(written, "Questionnaire")
    (response,) = of_type(written, "QuestionnaireResponse")
    links = [item["linkId"] for item in asked["item"]]
    assert len(set(links)) == len(links) == 6 + 2 + 1  # two further versions, and the score
    required = {item["linkId"]: item.get("required") for item in asked["item"]}
    assert (required["order"], required["one"], required["one.2"]) == (True, False, False)
    answered = {item["linkId"]: item for item in response["item"]}
    assert set(answered) <= set(links)
    assert [a["valueCoding"]["code"] for a in answered["order"]["answer"]] == ["wait", "sip", "sit"]
    pairs = next(item for link, item in answered.items() if link.startswith("match"))
    assert "answer" not in pairs
    assert len(pairs["item"]) == 3
    for part in pairs["item"]:
        assert part["linkId"].startswith(f"{pairs['linkId']}.")
        assert part["answer"][0]["valueCoding"]["display"]
