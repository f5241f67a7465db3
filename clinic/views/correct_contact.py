"""Correct a contact that was logged wrongly: a later row says what it really was."""

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404

from clinic.access import about, member
from clinic.forms.correct_contact import CorrectContactForm
from clinic.once import once
from clinic.roles import CARERS
from clinic.views.acts import ActPage, ask, go_back
from education import teach_back
from patients.clock import now
from patients.contact import AlreadyCorrected
from patients.models import Contact, Means, Outcome
from patients.open_to import open_to
from patients.programme import local_day
from patients.speaks_for import speaker

REVOKE_FIRST = "A clearance rests on this teach-back. Revoke the clearance first."


@open_to(*CARERS)
@once
def correct_contact(request: HttpRequest, pk: int) -> HttpResponse:
    """Say that a contact was another one, or that there was none."""
    contact = get_object_or_404(Contact.objects.select_related("patient", "by"), pk=pk)
    patient = speaker(contact.patient)
    about(request, patient.pk, *({contact.patient_id} - {patient.pk}))
    at = now()
    form = CorrectContactForm(
        request.POST or None,
        contact=contact,
        only_none=hasattr(contact, "teach_back"),
        on=local_day(at),
    )
    if request.method == "POST" and form.is_valid():
        try:
            teach_back.correct(
                contact,
                instead=form.instead,
                reason=form.cleaned_data["reason"],
                at=at,
                by_id=member(request).pk,
            )
            messages.success(
                request, "The contact is corrected; what stood before stays on record."
            )
            return go_back(request, patient=patient)
        except AlreadyCorrected:
            messages.warning(
                request, "Somebody corrected this contact before. Nothing was changed."
            )
            return go_back(request, patient=patient)
        except teach_back.ClearanceRestsOnIt:
            form.add_error(None, REVOKE_FIRST)
    says = (
        f"{Means(contact.means).label}, {Outcome(contact.outcome).label.lower()}, logged by "
        f"{contact.by}. When it was made stays as it is.",
    )
    return ask(request, ActPage("Correct a contact", says, "Correct it", patient), form)
