"""Find the patients that a typed name and date of birth could mean, and ask the rule."""

from datetime import date

from django.db.models import Q

from patients.models import Patient
from patients.rules.identity import Claim, Decision, Person, Policy, decide
from patients.rules.names import name_key


def whose(claim: Claim, *, link_patient_id: int | None, policy: Policy) -> Decision:
    """Ask the identity rule about a claim, with everybody on the register who could fit.

    Two indexed look-ups: everybody born on the claimed day (also with day and month exchanged),
    and everybody with the same words in the name; and the patient whose link was used.
    """
    same_day = Q(birth_date__in=_days_meant(claim.birth_date))
    same_name = Q(name_key=name_key(claim.given_names, claim.family_names)[:420])
    people = Patient.objects.filter(same_day | same_name | Q(pk=link_patient_id)).values_list(
        "id", "given_names", "family_names", "birth_date"
    )
    return decide(
        claim, [Person(*row) for row in people], link_person_id=link_patient_id, policy=policy
    )


def _days_meant(claimed: date) -> list[date]:
    try:
        return [claimed, claimed.replace(month=claimed.day, day=claimed.month)]
    except ValueError:
        return [claimed]
