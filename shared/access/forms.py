"""Forms of the people and tokens pages."""

from __future__ import annotations

from typing import Any

from django import forms

from shared.access.models import Role
from shared.api.roles import NOUNS, ROLES


class PersonForm(forms.Form):
    """Names, roles at this site, and whether the person may sign in."""

    first_name = forms.CharField(max_length=150, required=False)
    last_name = forms.CharField(max_length=150, required=False)
    email = forms.EmailField(label="E-mail", required=False)
    roles = forms.MultipleChoiceField(
        choices=Role.choices, required=False, widget=forms.CheckboxSelectMultiple
    )
    is_active = forms.BooleanField(label="May sign in", required=False, initial=True)


class NewPersonForm(PersonForm):
    """The same, with a name and a password to sign in with."""

    username = forms.CharField(max_length=150, label="Name to sign in with")
    password = forms.CharField(
        max_length=200,
        widget=forms.PasswordInput(attrs={"autocomplete": "new-password"}),
        help_text="8 characters or more; 15 or more is better.",
    )
    field_order = ["username", "password"]

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        del self.fields["is_active"]


class CompanyRolesForm(forms.Form):
    """Roles for what belongs to all sites."""

    company_roles = forms.MultipleChoiceField(
        choices=Role.choices,
        required=False,
        widget=forms.CheckboxSelectMultiple,
        label="Roles",
        help_text="They open materials, systems, suppliers, prices, recipes and routes, which all "
        "sites work by; the work of a site itself opens by a role there.",
    )


class PasswordForm(forms.Form):
    """A new password for somebody else."""

    password = forms.CharField(
        label="New password",
        max_length=200,
        widget=forms.PasswordInput(attrs={"autocomplete": "new-password"}),
        help_text="8 characters or more; 15 or more is better.",
    )


class TokenForm(forms.Form):
    """A token for another system: what it may do at this site."""

    name = forms.CharField(max_length=120, help_text="Which system will hold it.")
    expires_on = forms.DateField(
        required=False,
        widget=forms.DateInput(attrs={"type": "date"}),
        help_text="Good to the end of that day; without a day it does not expire.",
    )
    scopes = forms.MultipleChoiceField(widget=forms.CheckboxSelectMultiple, label="What it may do")

    def __init__(self, *args: Any, held: frozenset[str] = frozenset(), **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        words = {"read": "Read", "write": "Change"}
        self.fields["scopes"].choices = [
            (f"{noun}:{verb}", f"{words[verb]} {meaning}")
            for noun, meaning in NOUNS.items()
            for verb in ("read", "write")
            if f"{noun}:{verb}" in held
        ]


ROLE_TABLE = [
    (
        label,
        sorted(scope.removesuffix(":read") for scope in ROLES[value] if scope.endswith(":read")),
        sorted(scope.removesuffix(":write") for scope in ROLES[value] if scope.endswith(":write")),
    )
    for value, label in Role.choices
]
