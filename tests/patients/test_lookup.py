"""The register in the database finds and says what the register in memory does."""

from datetime import UTC, date, datetime
from random import Random

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from patients.lookup import OnRecord, likely_same, whose
from patients.match_keys import keep
from patients.models import Patient
from patients.rules.candidates import MANY, SECOND_LOOK
from patients.rules.identity import Claim, Decision, Policy, Verdict, Why, decide
from patients.rules.identity_keys import namesake_keys, word_key, word_keys
from patients.rules.in_memory import InMemoryRegister, Person
from patients.rules.names import normal_name
from tests.benchmarks import people
from tests.factories import a_patient
from tests.tells import dated

pytestmark = pytest.mark.django_db

AT = datetime(2026, 3, 2, 15, tzinfo=UTC)
BORN = date(1980, 3, 12)


def _enrol(persons: list[Person]) -> None:
    made = Patient.objects.bulk_create(
        Patient(
            pk=int(person.id),
            mrn=f"M{person.id}",
            given_names=person.given_names,
            family_names=person.family_names,
            birth_date=person.birth_date,
            recorded_at=AT,
        )
        for person in persons
        if isinstance(person.birth_date, date)
    )
    keep([patient.pk for patient in made])


def _ask(given_names: str, family_names: str, born: date, link: int | None = None) -> Decision:
    claim = Claim(given_names, family_names, born)
    return whose(claim, link_patient_id=link, policy=Policy.NAME_AND_BIRTH_DATE)


def test_database_and_memory_decide_alike_on_generated_people() -> None:
    """People and claims of the benchmarks' generator: twins, namesakes, slips, strangers."""
    town = people.make(400, 300, 7)
    persons = [
        Person(p.patient_id, p.given_name, p.family_name, p.date_of_birth) for p in town.register
    ]
    _enrol(persons)
    if connection.vendor == "postgresql":
        with connection.cursor() as cursor:
            cursor.execute("ANALYZE patients_matchkey, patients_matchname")
    memory = InMemoryRegister(persons)
    seen = set()
    for place, asked in enumerate(town.claims):
        claim = Claim(asked.given_name, asked.family_name, asked.date_of_birth)
        link = persons[place % len(persons)].id if place % 3 == 0 else None
        on_record = whose(
            claim,
            link_patient_id=None if link is None else int(link),
            policy=Policy.NAME_AND_BIRTH_DATE,
        )
        in_memory = decide(claim, memory, link_person_id=link)
        assert (on_record.verdict, on_record.person_id, on_record.reasons) == (
            in_memory.verdict,
            in_memory.person_id,
            in_memory.reasons,
        )
        ids = [c.person_id for c in on_record.candidates]
        assert ids == [c.person_id for c in in_memory.candidates]
        seen.add(on_record.verdict)
    assert seen == set(Verdict)


def test_a_claim_costs_a_handful_of_queries_however_many_patients() -> None:
    _enrol([Person(n, f"Given{n}", f"Family{n}", date(1950 + n, 1, 1)) for n in range(1, 40)])
    with CaptureQueriesContext(
        connection,
    ) as sent:
        assert _ask("Given7", "Family7", date(1957, 1, 1)).person_id == 7
    assert len(sent) <= 2
    with CaptureQueriesContext(connection) as sent:
        assert _ask("Nobody", "Atall", date(1999, 9, 9)).verdict == Verdict.NONE
    assert len(sent) <= 2


def test_a_count_cut_short_is_not_taken_for_the_whole() -> None:
    """The second pass counts no further than it compares; the rule's rarity counts further."""
    many = SECOND_LOOK + 5
    _enrol([Person(n, f"Given{n}", "Ruiz", BORN) for n in range(1, many + 1)])
    register, ruiz = OnRecord(), word_key("ruiz")
    register.named([], counting={ruiz: SECOND_LOOK})
    assert register.bearers([ruiz], upto=SECOND_LOOK) == {ruiz: SECOND_LOOK}
    assert register.bearers([ruiz], upto=MANY) == {ruiz: many}


@pytest.mark.parametrize("given", ["Given3", "Ivo", ""])
def test_the_nearest_by_their_keys_are_the_same_in_memory(given: str) -> None:
    persons = [
        Person(n, f"{'GHI'[n % 3]}iven{n % 7}", f"Family{n % 5}", BORN) for n in range(1, 60)
    ]
    _enrol(persons)
    name = normal_name(given, "Family2")
    keys = sorted(word_keys(name) | namesake_keys(name))
    weights = {key: 100 * place for place, key in enumerate(keys, start=1)}
    memory = InMemoryRegister(persons)
    everybody = len(memory.nearest(weights, most=len(persons)))
    for most in (1, 5, 12, 200):
        expected = [one.person_id for one in memory.nearest(weights, most=most)]
        assert [one.person_id for one in OnRecord().nearest(weights, most=most)] == expected
        assert len(expected) == min(most, everybody) > 0


def test_no_query_holds_a_name_or_a_date_of_birth() -> None:
    """Keys are hashes: a database's log of slow queries shows nobody's name (promise T3)."""
    a_patient(at=AT, given_names="Ana", family_names="Ruiz", birth_date=BORN)
    with CaptureQueriesContext(connection) as sent:
        _ask("Ana", "Ruiz", BORN)
    text = " ".join(query["sql"].lower() for query in sent)
    assert "ruiz" not in text
    assert not dated(text, year=BORN.year)


def test_the_patient_whose_link_was_used_is_always_a_candidate() -> None:
    stranger = a_patient(at=AT, given_names="Leo", family_names="Falk", birth_date=date(1960, 5, 5))
    decision = _ask("Quinn", "Abernathy", date(1990, 9, 9), link=stranger.pk)
    assert decision.verdict == Verdict.REVIEW
    assert [c.person_id for c in decision.candidates] == [stranger.pk]
    assert Why.LINK_AGREES in decision.candidates[0].reasons


def test_likely_duplicates_leave_out_the_record_itself() -> None:
    one = a_patient(at=AT, given_names="Ana", family_names="Ruiz", birth_date=BORN)
    other = a_patient(at=AT, given_names="Anna", family_names="Ruiz", birth_date=BORN)
    a_patient(at=AT, given_names="Leo", family_names="Falk", birth_date=date(1960, 5, 5))
    found = likely_same(one)
    assert [pk for pk, _, _ in found] == [other.pk]
    assert Why.GIVEN_NAME_ONE_EDIT in found[0][2]


def test_ten_thousand_claims_for_one_patient_all_get_the_same_answer() -> None:
    patient = a_patient(at=AT, given_names="Ana", family_names="Ruiz", birth_date=BORN)
    register = OnRecord()
    claims = [Claim("Ana", "Ruiz", BORN)] * 10_000
    sample = Random(1).sample(claims, 200)
    assert {decide(claim, register).person_id for claim in sample} == {patient.pk}
    memory = InMemoryRegister([Person(patient.pk, "Ana", "Ruiz", BORN)])
    assert {decide(claim, memory).person_id for claim in claims} == {patient.pk}
