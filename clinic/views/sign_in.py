"""Signing in and out, one's own password, and the way home by role."""

from typing import Any

from django.contrib.auth.views import LoginView, LogoutView, PasswordChangeView
from django.http import HttpRequest, HttpResponse, HttpResponseBase
from django.shortcuts import redirect
from django.urls import reverse_lazy
from django.views.decorators.http import require_safe

from clinic.access import member
from clinic.forms.staff import OwnPasswordForm, SignInForm
from clinic.models import Role
from patients.open_to import ANYONE, open_to

HOME = {Role.COORDINATOR: "operations", Role.AUDITOR: "trail"}


class SignIn(LoginView):
    """Email address and password; axes stands in front and locks out after too many tries."""

    authentication_form = SignInForm
    template_name = "clinic/sign_in.html"
    redirect_authenticated_user = True


class SignOut(LogoutView):
    """By POST only: a link must not sign anybody out."""


class OwnPassword(PasswordChangeView):
    """A new password of one's own; the other sessions of the account end."""

    form_class = OwnPasswordForm
    template_name = "clinic/password.html"
    success_url = reverse_lazy("password")

    def form_valid(self, form: Any) -> HttpResponse:
        """Say that it worked: the page is the same one again."""
        response = super().form_valid(form)
        self.request.session["password_changed"] = True
        return response

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        """Add whether it was changed just now."""
        changed = self.request.session.pop("password_changed", False)
        return super().get_context_data(changed=changed, **kwargs)


_sign_in, _sign_out = SignIn.as_view(), SignOut.as_view()
_own_password = OwnPassword.as_view()


@open_to(ANYONE)
def sign_in(request: HttpRequest) -> HttpResponseBase:
    """Sign in."""
    return _sign_in(request)


@open_to(ANYONE)
def sign_out(request: HttpRequest) -> HttpResponseBase:
    """Sign out."""
    return _sign_out(request)


@open_to(*Role)
def password(request: HttpRequest) -> HttpResponseBase:
    """Change one's own password."""
    return _own_password(request)


@open_to(*Role)
@require_safe
def home(request: HttpRequest) -> HttpResponse:
    """Go to the page where one's role begins the day."""
    return redirect(HOME.get(Role(member(request).role), "morning"))
