"""Staff deal with what came back: try an address again, call instead, or say it is dealt with."""

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect
from django.urls import reverse
from django.views.decorators.http import require_POST

from clinic.access import about, member
from clinic.once import once
from clinic.roles import REGISTRARS
from clinic.views.acts import way_back
from education.answered import settle
from education.by_phone import call_instead
from education.models import AddressMark, ReceivedMail
from education.try_again import try_again
from patients.clock import now
from patients.models import Patient
from patients.open_to import open_to


@open_to(*REGISTRARS)
@require_POST
@once
def mail_try_again(request: HttpRequest, pk: int) -> HttpResponse:
    """Let emails go to an address again, and send anew what failed there."""
    mark = get_object_or_404(AddressMark, pk=pk)
    about(request, mark.patient_id)
    reason = request.POST.get("reason", "").strip()[:500]
    back = way_back(request, reverse("mail", query={"show": "addresses"}))
    if not reason:
        messages.warning(request, "Say why it should work now. Nothing was changed.")
        return redirect(back)
    sent = try_again(mark.address, reason=reason, at=now(), by_id=member(request).pk)
    if sent is None:
        messages.info(request, "Nothing was changed: this was settled meanwhile.")
    else:
        links = {0: "No link was sent anew.", 1: "1 link goes out anew."}
        said = links.get(sent, f"{sent} links go out anew.")
        messages.success(request, f"Emails go to {mark.address} again. {said}")
    return redirect(back)


@open_to(*REGISTRARS)
@require_POST
@once
def mail_by_phone(request: HttpRequest, pk: int) -> HttpResponse:
    """A patient wants no more emails: from now on they are called."""
    patient = get_object_or_404(Patient.objects.on_the_register(), pk=pk)
    about(request, patient.pk)
    who = member(request)
    if call_instead(patient, told=who.name, at=now()):
        said = f"No more emails go to {patient.email} by themselves: call {patient.full_name}. "
        messages.success(request, said + "It can be taken back under “Addresses marked”.")
    else:
        messages.info(request, "Nothing was changed: no email went to the address on file yet.")
    return redirect(way_back(request, reverse("mail", query={"show": "addresses"})))


@open_to(*REGISTRARS)
@require_POST
@once
def mail_answer(request: HttpRequest, pk: int) -> HttpResponse:
    """Say that an answer was dealt with, or bring it back."""
    received = get_object_or_404(ReceivedMail.objects.for_people(), pk=pk)
    if received.message and received.message.patient_id:
        about(request, received.message.patient_id)
    settled = request.POST.get("settled") == "1"
    if settle(received.pk, settled=settled, at=now(), by_id=member(request).pk):
        said = "Dealt with." if settled else "It is to be looked at again."
        messages.success(request, said)
    return redirect(reverse("mail", query={"show": "answers"}))
