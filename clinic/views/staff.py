"""Who may sign in, and as what: for the administrator."""

from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.debug import sensitive_post_parameters
from django.views.decorators.http import require_http_methods, require_POST

from clinic import staffing
from clinic.forms.staff import NewStaffForm, RoleForm, SetPasswordForm
from clinic.models import Role, StaffUser
from clinic.once import once
from patients.open_to import open_to

LAST = "Somebody has to be administrator. Take on another one first."


@open_to(Role.ADMINISTRATOR)
@sensitive_post_parameters("password")
@require_http_methods(["GET", "HEAD", "POST"])
@once
def staff(request: HttpRequest) -> HttpResponse:
    """Everybody with an account, and a form for somebody new."""
    form = NewStaffForm(request.POST if request.method == "POST" else None)
    if form.is_valid():
        taken_on = staffing.take_on(**form.cleaned_data)
        _trail(request, account=taken_on.pk, role=taken_on.role)
        messages.success(request, f"{taken_on.name} can sign in as {taken_on.role}.")
        return redirect("staff")
    everybody = StaffUser.objects.order_by("-is_active", "name", "id")
    return render(
        request,
        "clinic/staff.html",
        {"everybody": everybody, "form": form},
        status=400 if form.is_bound else 200,
    )


@open_to(Role.ADMINISTRATOR)
@sensitive_post_parameters("password")
@require_http_methods(["GET", "HEAD", "POST"])
@once
def staff_member(request: HttpRequest, staff_id: int) -> HttpResponse:
    """One account: another role, a new password, disable or open again."""
    someone = get_object_or_404(StaffUser, pk=staff_id)
    act = request.POST.get("act", "")
    role_form = RoleForm(request.POST if act == "role" else None, initial={"role": someone.role})
    password_form = SetPasswordForm(someone, request.POST if act == "password" else None)
    if role_form.is_valid():
        return _change_role(request, someone, role_form.cleaned_data["role"])
    if password_form.is_valid():
        staffing.set_password(someone, password_form.cleaned_data["password"])
        _trail(request, password="set anew")
        messages.success(request, f"{someone.name} has a new password. Open sessions have ended.")
        return redirect("staff-member", someone.pk)
    context = {"someone": someone, "role_form": role_form, "password_form": password_form}
    status = 400 if request.method == "POST" else 200
    return render(request, "clinic/staff_member.html", context, status=status)


@open_to(Role.ADMINISTRATOR)
@require_POST
@once
def staff_active(request: HttpRequest, staff_id: int) -> HttpResponse:
    """Disable an account, or open it again."""
    someone = get_object_or_404(StaffUser, pk=staff_id)
    active = request.POST.get("active") == "yes"
    try:
        staffing.set_active(someone, active=active)
    except staffing.LastAdministrator:
        messages.error(request, LAST)
    else:
        _trail(request, active=active)
        said = "can sign in again" if active else "is disabled, from the next request on"
        messages.success(request, f"{someone.name} {said}.")
    return redirect("staff-member", someone.pk)


def _change_role(request: HttpRequest, someone: StaffUser, role: str) -> HttpResponse:
    before = someone.role
    try:
        staffing.set_role(someone, role)
    except staffing.LastAdministrator:
        messages.error(request, LAST)
    else:
        _trail(request, role_before=before, role=role)
        messages.success(request, f"{someone.name} is {role} now.")
    return redirect("staff-member", someone.pk)


def _trail(request: HttpRequest, **detail: Any) -> None:
    request.trail_detail = detail  # type: ignore[attr-defined]
