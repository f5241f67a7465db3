"""One patient's eating plan, for staff: today first, the numbers with their basis, the copies."""

from collections.abc import Callable
from datetime import datetime, timedelta
from functools import wraps
from typing import Any, Concatenate, ParamSpec, cast

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import translation
from django.views.decorators.http import require_http_methods, require_safe

from clinic import eating_plan_page, eating_plan_pdf, eating_words, patient_record
from clinic.access import about, member
from clinic.forms.eating_plan import (
    ChoicesForm,
    DiscussedForm,
    FactsForm,
    GiveForm,
    SetAsideForm,
    SupplementForm,
    facts_initial,
)
from clinic.once import once
from clinic.roles import CARERS, CLINICIANS, READERS
from clinic.views.acts import ActPage, ask, way_back
from education import eating_calendar, eating_record
from education.models import GivenBy
from education.plan_link import PlanRefusal, send_plan
from education.plan_moves import hand_over, told_by_hand
from education.plan_of import PlanOf, operation_for_plan, plan_of
from education.rules.may_give import to_tell_the_team
from education.rules.patient_numbers import OwnNumber
from education.stage_tables import stages_of, usual_stay
from patients.clock import now
from patients.models import Operation, Patient
from patients.open_to import open_to
from patients.programme import local_day
from patients.rules.languages import choices, codes
from patients.speaks_for import speaker

Params = ParamSpec("Params")
Of = Callable[Concatenate[HttpRequest, Patient, Params], HttpResponse]


def of_patient(view: Of[Params]) -> Callable[Concatenate[HttpRequest, int, Params], HttpResponse]:
    """Hand the view the patient who is on the register; the trail tells whose page it was."""

    @wraps(view)
    def opened(
        request: HttpRequest, pk: int, *args: Params.args, **kwargs: Params.kwargs
    ) -> HttpResponse:
        record = get_object_or_404(Patient, pk=pk)
        patient = speaker(record)
        about(request, patient.pk, *({record.pk} - {patient.pk}))
        return view(request, patient, *args, **kwargs)

    return cast("Callable[Concatenate[HttpRequest, int, Params], HttpResponse]", opened)


@open_to(*READERS)
@require_safe
@of_patient
def eating_plan(request: HttpRequest, patient: Patient) -> HttpResponse:
    """Show the plan, or why there is none."""
    at = now()
    operation = operation_for_plan(patient, on=local_day(at))
    found = plan_of(operation, at=at) if operation else None
    context: dict[str, Any] = {"patient": patient, "operation": operation, "found": found}
    if found:
        role = member(request).role
        supplement = SupplementForm(request.GET if "grams" in request.GET else None)
        record = patient_record.read(patient, on=None, at=at)
        context |= {
            "page": eating_plan_page.page(found, at=at),
            "record": record,
            "on": record.on,
            "o": next((one for one in record.operations if one.operation == operation), None),
            "may_care": role in CARERS,
            "may_sign": role in CLINICIANS,
            "give_form": GiveForm(),
            "languages": choices(),
            "supplement_form": supplement,
            "supplement": (
                eating_plan_page.supplement(found, **supplement.cleaned_data)
                if supplement.is_bound and supplement.is_valid()
                else None
            ),
        }
    return render(request, "clinic/eating_plan.html", context)


@open_to(*CARERS)
@once
@of_patient
def eating_facts(request: HttpRequest, patient: Patient) -> HttpResponse:
    """Ask what the plan has to know of a patient."""
    facts = eating_record.facts_of(patient)
    form = FactsForm(request.POST or None, initial=facts_initial(facts))
    if request.method == "POST" and form.is_valid():
        eating_record.record_facts(patient, form.facts(), at=now(), by_id=member(request).pk)
        messages.success(request, "The facts are kept; the numbers follow them.")
        return _to_plan(patient)
    says = (
        "A measure without a unit is asked about, and an unlikely one too.",
        "Medicines are asked so that the team knows of them before the plan starts. "
        "Nobody stops or changes one because of this page.",
    )
    return ask(
        request, ActPage("What the plan has to know", says, "Keep these facts", patient), form
    )


@open_to(*CARERS)
@once
@of_patient
def eating_choices(request: HttpRequest, patient: Patient) -> HttpResponse:
    """Choose the days of the solid meals, and this patient's stay."""
    at = now()
    found = _found(patient, at=at)
    usual = usual_stay(found.table)
    chosen = found.choices
    initial = {
        "meals": chosen.meals if chosen else [],
        "nights": chosen.nights if chosen else usual.nights,
        "first_visit_days": chosen.first_visit_days if chosen else usual.first_visit_days,
        "home_on": chosen.home_on if chosen else None,
        "first_visit_on": chosen.first_visit_on if chosen else None,
        "reason": chosen.reason if chosen else "",
    }
    form = ChoicesForm(
        request.POST or None,
        initial=initial,
        days=_meal_days(found),
        usual=(usual.nights, usual.first_visit_days),
        or_date=found.operation.or_date,
    )
    if request.method == "POST" and form.is_valid():
        eating_record.choose(found.operation, **form.cleaned_data, at=at, by_id=member(request).pk)
        messages.success(request, "The choices are kept; the dates follow them.")
        return _to_plan(patient)
    says = (
        "Chosen days are kept as days from the OR date: when it moves, they move with it. "
        "A booked day stays.",
    )
    return ask(request, ActPage("Choices for this patient", says, "Keep these", patient), form)


@open_to(*CARERS)
@once
@of_patient
def eating_set_aside(request: HttpRequest, patient: Patient) -> HttpResponse:
    """Put a number of the dietitian's own in place of the computed one."""
    form = SetAsideForm(request.POST or None, initial={"what": request.GET.get("what", "")})
    if request.method == "POST" and form.is_valid():
        typed = form.cleaned_data
        eating_record.set_aside(
            patient,
            OwnNumber(typed["what"]),
            typed["value"],
            reason=typed["reason"],
            at=now(),
            by_id=member(request).pk,
        )
        messages.success(request, "The number is kept, with your reason.")
        return _to_plan(patient)
    says = ("It holds for this patient alone. What would be computed stays beside it.",)
    return ask(request, ActPage("Another number", says, "Keep this number", patient), form)


@open_to(*CLINICIANS)
@once
@of_patient
def eating_discussed(request: HttpRequest, patient: Patient) -> HttpResponse:
    """A clinician signs that the patient's medicines, or pregnancy, were discussed."""
    facts = eating_record.facts_of(patient)
    if facts is None:
        messages.warning(request, "Nobody asked about medicines yet, so there is nothing to sign.")
        return _to_plan(patient)
    form = DiscussedForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        eating_record.sign_for(
            facts, note=form.cleaned_data["note"], at=now(), by_id=member(request).pk
        )
        messages.success(request, "Signed. It holds for what the facts say now.")
        return _to_plan(patient)
    yes = [eating_words.MEDICINE[one] for one in to_tell_the_team(eating_record.answers_of(facts))]
    says = (
        f"On record: {', '.join(yes) or 'none of the medicines asked about'}.",
        "Without your signature a patient with diabetes medicine, or who may be pregnant, gets no "
        "plan.",
    )
    return ask(request, ActPage("Discussed with the patient", says, "Sign", patient), form)


@open_to(*CARERS)
@once
@require_http_methods(["POST"])
@of_patient
def eating_give(request: HttpRequest, patient: Patient) -> HttpResponse:
    """Keep that the patient got the plan."""
    at = now()
    found = _found(patient, at=at)
    form = GiveForm(request.POST)
    seen = str(found.operation.or_date)
    if not found.may_be_given:
        messages.warning(request, "Not given: see what holds the plan.")
    elif request.POST.get("or_date") != seen:
        messages.warning(request, "Not kept: the OR date changed after the page was shown.")
    elif form.is_valid():
        means = GivenBy(form.cleaned_data["means"])
        hand_over(found.operation, found.table, means, at=at, by_id=member(request).pk)
        messages.success(request, "Kept: the patient has this plan, for this OR date.")
    return _to_plan(patient)


@open_to(*CARERS)
@once
@require_http_methods(["POST"])
@of_patient
def eating_told(request: HttpRequest, patient: Patient) -> HttpResponse:
    """Keep that the patient was told by phone that the OR date moved, or that it was cancelled."""
    at = now()
    operation = _found(patient, at=at).operation
    seen = (request.POST.get("or_date", ""), request.POST.get("booking", ""))
    if seen != (str(operation.or_date or ""), operation.booking):
        messages.warning(request, "Not kept: the operation changed after the page was shown.")
    elif told_by_hand(operation, GivenBy.PHONE, at=at, by_id=member(request).pk):
        messages.success(request, f"Kept: {patient.full_name} was told by phone.")
    else:
        messages.info(request, "There was nothing to tell any more.")
    return redirect(way_back(request, reverse("eating-plan", args=[patient.pk])))


@open_to(*CARERS)
@once
@require_http_methods(["POST"])
@of_patient
def eating_send(request: HttpRequest, patient: Patient) -> HttpResponse:
    """Send the patient a personal link to the plan."""
    at = now()
    sent = send_plan(_found(patient, at=at).operation, at=at, by_id=member(request).pk)
    if isinstance(sent, PlanRefusal):
        messages.warning(request, f"Not sent: {eating_words.PLAN_REFUSAL[sent]}.")
    else:
        messages.success(request, f"Link on its way to {sent.address}. It follows the OR date.")
    return _to_plan(patient)


@open_to(*READERS)
@require_safe
@of_patient
def eating_plan_file(
    request: HttpRequest, patient: Patient, language: str, form: str
) -> HttpResponse:
    """Download the plan as a PDF, or as calendar entries with neutral titles."""
    if language not in codes():
        raise Http404
    at = now()
    found = _found(patient, at=at)
    if not found.may_be_given:
        messages.warning(request, "There is no copy yet: see what holds the plan.")
        return _to_plan(patient)
    request.trail_detail = {"or_date": str(found.operation.or_date)}  # type: ignore[attr-defined]
    if form == "pdf":
        made, kind = eating_plan_pdf.write(found, language=language, at=at), "application/pdf"
    else:
        with translation.override(language):
            made = eating_calendar.file_for(found, at=at)
        kind = "text/calendar; charset=utf-8"
    # The name of a file says nothing of the patient: it is saved to phones and shared computers.
    name = f"plan-{found.today.isoformat()}.{form}"
    response = HttpResponse(made, content_type=kind)
    response["Content-Disposition"] = f'attachment; filename="{name}"'
    return response


def _found(patient: Patient, *, at: datetime) -> PlanOf:
    operation = operation_for_plan(patient, on=local_day(at))
    found = plan_of(operation, at=at) if operation else None
    if found is None:
        raise Http404("no operation, or no stages")
    return found


def _to_plan(patient: Patient) -> HttpResponse:
    return redirect(reverse("eating-plan", args=[patient.pk]))


def _meal_days(found: PlanOf) -> list[tuple[int, str]]:
    """Return the days on which a solid meal may be, with their dates where there is an OR date."""
    listed = []
    for stage in stages_of(found.table):
        if stage.meals is None:
            continue
        for offset in stage.span(found.stay):
            if offset <= stage.meals.last_days:
                listed.append((offset, _day_words(found.operation, offset)))
    return listed


def _day_words(operation: Operation, offset: int) -> str:
    said = eating_words.from_or_date(offset)
    if operation.or_date is None:
        return said
    on = operation.or_date + timedelta(days=offset)
    return f"{on:%a} {on.day} {on:%B} ({said})"
