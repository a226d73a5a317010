"""Forms of signing in: codes, and asking for a new password."""

from __future__ import annotations

from typing import Any

from django import forms

CODE_HINTS = {
    "autocomplete": "one-time-code",
    "autocapitalize": "characters",
    "spellcheck": "false",
}


class CodeForm(forms.Form):
    """A code of the app, or a spare code."""

    code = forms.CharField(
        max_length=40,
        label="Code",
        widget=forms.TextInput(attrs=CODE_HINTS),
        help_text="Six digits from your authenticator app, or one of your spare codes.",
    )


class FirstCodeForm(forms.Form):
    """The first code of an app that has just been set up."""

    code = forms.CharField(
        max_length=10,
        label="Code",
        widget=forms.TextInput(attrs={**CODE_HINTS, "inputmode": "numeric"}),
        help_text="Six digits that the app shows for this shop.",
    )


class PasswordAgainForm(forms.Form):
    """The password once more, before what guards the sign-in is changed."""

    password = forms.CharField(
        max_length=200,
        label="Your password",
        widget=forms.PasswordInput(attrs={"autocomplete": "current-password"}),
    )


class PasswordAndCodeForm(PasswordAgainForm, CodeForm):
    """Both, before the second step is changed."""

    field_order = ["password", "code"]


class ForgottenForm(forms.Form):
    """Who asks for a new password."""

    who = forms.CharField(
        max_length=254,
        label="Name to sign in with, or e-mail",
        widget=forms.TextInput(attrs={"autocomplete": "username", "autocapitalize": "none"}),
    )


class LeavingForm(forms.Form):
    """That somebody leaves, typed out so that no tap does it."""

    username = forms.CharField(
        max_length=150,
        label="Name to sign in with",
        help_text="Type it as it stands above, so that nobody is taken out by a slip.",
    )

    def __init__(self, *args: Any, username: str, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self._wanted = username

    def clean_username(self) -> str:
        given: str = self.cleaned_data["username"]
        if given.strip() != self._wanted:
            raise forms.ValidationError(
                f"Name to sign in with is {given!r}; type {self._wanted!r} to go on."
            )
        return given
