"""The sign-in form."""

from __future__ import annotations

from typing import Any

from django import forms
from django.contrib.auth.forms import AuthenticationForm


class SignInForm(AuthenticationForm):
    """E-mail address and password; one answer for every failure, so that nobody learns which accounts exist."""

    error_messages = {
        "invalid_login": "This e-mail address and password do not belong together. Check both and sign in again.",
        "inactive": "This e-mail address and password do not belong together. Check both and sign in again.",
    }

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        address, password = self.fields["username"], self.fields["password"]
        address.label = "E-mail address"
        address.error_messages["required"] = "Enter your e-mail address"
        address.widget = forms.EmailInput(attrs={"autocomplete": "username", "autocapitalize": "none"})
        password.error_messages["required"] = "Enter your password"

    def clean_username(self) -> str:
        """Return the address in small letters, as it is stored (and as the throttle counts it)."""
        return str(self.cleaned_data["username"]).strip().lower()
