"""What is typed about members of staff, and by them when they sign in."""

from typing import Any

from django import forms
from django.contrib.auth.forms import AuthenticationForm, PasswordChangeForm
from django.contrib.auth.password_validation import (
    password_validators_help_text_html,
    validate_password,
)
from django.core.exceptions import ValidationError
from django.core.validators import MaxLengthValidator

from clinic.models import Role, StaffUser

LONGEST_PASSWORD = 128  # hashing a very long text on every try would be a way to stall the site
ROLES = [(role.value, role.capitalize()) for role in Role]


class SignInForm(AuthenticationForm):
    """Email address and password."""

    error_messages = {
        "invalid_login": "This email address and password do not fit together.",
        "inactive": "This email address and password do not fit together.",
    }

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["username"].label = "Email address"
        self.fields["username"].widget.attrs |= {"autocomplete": "username", "inputmode": "email"}
        self.fields["password"].widget.attrs |= {"maxlength": LONGEST_PASSWORD}

    def clean_password(self) -> str:
        """Refuse what no password of ours can be, before it is hashed."""
        typed: str = self.cleaned_data["password"]
        if len(typed) > LONGEST_PASSWORD:
            raise ValidationError("This password is too long.")
        return typed


class OwnPasswordForm(PasswordChangeForm):
    """The old password and the new one, twice."""

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        for name in self.fields:
            self.fields[name].widget.attrs |= {"maxlength": LONGEST_PASSWORD}
            self.fields[name].validators.append(MaxLengthValidator(LONGEST_PASSWORD))
        self.fields["old_password"].widget.attrs.pop("autofocus", None)


class PasswordField(forms.CharField):
    """A password that the administrator makes up and hands over."""

    def __init__(self, label: str) -> None:
        super().__init__(
            label=label,
            strip=False,
            max_length=LONGEST_PASSWORD,
            help_text=password_validators_help_text_html(),
            widget=forms.PasswordInput(attrs={"autocomplete": "new-password"}),
        )


class NewStaffForm(forms.Form):
    """A new member of staff."""

    name = forms.CharField(max_length=120)
    email = forms.EmailField(max_length=254, label="Email address")
    role = forms.ChoiceField(choices=ROLES)
    password = PasswordField("First password")

    def clean_email(self) -> str:
        """Each address signs in one person, whatever its case."""
        email: str = self.cleaned_data["email"].strip().lower()
        if StaffUser.objects.filter(email__iexact=email).exists():
            raise ValidationError("Somebody has this address already.")
        return email

    def clean(self) -> dict[str, Any]:
        """Judge the password, also by whether it repeats the name or the address."""
        cleaned = super().clean() or {}
        someone = StaffUser(name=cleaned.get("name", ""), email=cleaned.get("email", ""))
        _judge(self, "password", someone)
        return cleaned


class RoleForm(forms.Form):
    """Another role."""

    role = forms.ChoiceField(choices=ROLES)


class SetPasswordForm(forms.Form):
    """A new password for a member of staff."""

    password = PasswordField("New password")

    def __init__(self, someone: StaffUser, *args: Any, **kwargs: Any) -> None:
        self.someone = someone
        super().__init__(*args, **kwargs)

    def clean(self) -> dict[str, Any]:
        """Judge the password."""
        _judge(self, "password", self.someone)
        return self.cleaned_data


def _judge(form: forms.Form, field: str, someone: StaffUser) -> None:
    try:
        if field in form.cleaned_data:
            validate_password(form.cleaned_data[field], someone)
    except ValidationError as error:
        form.add_error(field, error)
