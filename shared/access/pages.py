"""Pages: the people of a site, and the tokens of other systems."""

from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from shared import clock
from shared.access import actions, queries
from shared.access.forms import (
    ROLE_TABLE,
    CompanyRolesForm,
    NewPersonForm,
    PasswordForm,
    PersonForm,
    TokenForm,
)
from shared.access.models import User
from shared.api.access import access_of_user
from shared.api.permissions import needs
from shared.errors import Invalid, ShopError


def _refuse(form: Any, error: ShopError) -> None:
    """Show what an action refused beside the fields it names."""
    for found in getattr(error, "problems", ()):
        field = found.pointer.removeprefix("#/")
        form.add_error(field if field in form.fields else None, found.detail)
    if not isinstance(error, Invalid):
        form.add_error(None, error.message)


@needs("accounts:read")
@require_GET
def people(request: Any) -> HttpResponse:
    """List the people of the site and what each role may do."""
    rows = [
        (person, queries.roles_at(person, request.site))
        for person in queries.people_of(request.site)
    ]
    return render(request, "access/people.html", {"rows": rows, "role_table": ROLE_TABLE})


@needs("accounts:write")
@require_http_methods(["GET", "POST"])
def add_person(request: Any) -> HttpResponse:
    """Let somebody new sign in."""
    form = NewPersonForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        try:
            person = actions.add_person(site=request.site, **form.cleaned_data)
        except ShopError as error:
            _refuse(form, error)
        else:
            messages.success(request, f"{person} may sign in now.")
            return redirect("people")
    return render(request, "access/add_person.html", {"form": form})


def _person(request: Any, pk: int) -> User:
    return get_object_or_404(queries.people_of(request.site), pk=pk)


@needs("accounts:write")
@require_http_methods(["GET", "POST"])
def person(request: Any, pk: int) -> HttpResponse:
    """Change a person and their roles at this site."""
    found = _person(request, pk)
    first = {
        "first_name": found.first_name,
        "last_name": found.last_name,
        "email": found.email,
        "is_active": found.is_active,
        "roles": queries.roles_at(found, request.site),
    }
    form = PersonForm(request.POST or None, initial=first)
    if request.method == "POST" and form.is_valid():
        try:
            actions.change_person(
                person=found, site=request.site, by=request.user, **form.cleaned_data
            )
        except ShopError as error:
            _refuse(form, error)
            found.refresh_from_db()
        else:
            messages.success(request, f"{found} was changed.")
            return redirect("person", pk)
    return _show_person(request, found, form=form)


def _show_person(request: Any, found: User, **forms: Any) -> HttpResponse:
    held = access_of_user(found).scopes_by_site.get(request.site.pk, frozenset())
    context = {
        "person": found,
        "form": PersonForm(
            initial={
                "first_name": found.first_name,
                "last_name": found.last_name,
                "email": found.email,
                "is_active": found.is_active,
                "roles": queries.roles_at(found, request.site),
            }
        ),
        "company_form": CompanyRolesForm(
            initial={"company_roles": queries.company_roles_of(found)}
        ),
        "may_company": access_of_user(request.user).may_for_all("accounts:write"),
        "password_form": PasswordForm(),
        "token_form": TokenForm(held=held, prefix="token"),
        "tokens": queries.tokens_of(found),
        "now": clock.now(),
        **forms,
    }
    return render(request, "access/person.html", context)


@needs("accounts:write", for_all=True)
@require_POST
def set_company_roles(request: Any, pk: int) -> HttpResponse:
    """Give a person roles for what belongs to all sites."""
    found = _person(request, pk)
    form = CompanyRolesForm(request.POST)
    if form.is_valid():
        actions.set_company_roles(
            person=found, roles=form.cleaned_data["company_roles"], by=request.user
        )
        messages.success(request, f"{found}’s roles for all sites were changed.")
        return redirect("person", pk)
    return _show_person(request, found, company_form=form)


@needs("accounts:write")
@require_POST
def set_password(request: Any, pk: int) -> HttpResponse:
    """Give a person a new password."""
    found = _person(request, pk)
    form = PasswordForm(request.POST)
    if form.is_valid():
        try:
            actions.set_password(
                person=found, password=form.cleaned_data["password"], by=request.user
            )
        except ShopError as error:
            _refuse(form, error)
        else:
            messages.success(request, f"{found} has a new password; other sign-ins have ended.")
            return redirect("person", pk)
    return _show_person(request, found, password_form=form)


@needs("accounts:write")
@require_POST
@never_cache
def issue_token(request: Any, pk: int) -> HttpResponse:
    """Make a token and show its secret this once."""
    found = _person(request, pk)
    held = access_of_user(found).scopes_by_site.get(request.site.pk, frozenset())
    form = TokenForm(request.POST, held=held, prefix="token")
    if form.is_valid():
        day = form.cleaned_data["expires_on"]
        try:
            token, secret = actions.issue_token(
                owner=found,
                name=form.cleaned_data["name"],
                sites=[request.site],
                scopes=form.cleaned_data["scopes"],
                expires_at=clock.day_end(day, request.site) if day else None,
                by=request.user,
            )
        except ShopError as error:
            _refuse(form, error)
        else:
            return render(request, "access/token.html", {"token": token, "secret": secret})
    return _show_person(request, found, token_form=form)


@needs("accounts:write")
@require_POST
def revoke_token(request: Any, pk: int, token_pk: int) -> HttpResponse:
    """Take a token back."""
    found = _person(request, pk)
    token = get_object_or_404(queries.tokens_of(found), pk=token_pk)
    try:
        actions.revoke_token(token=token, by=request.user)
    except ShopError as error:
        messages.error(request, f"{error.message} Nothing was changed.")
    else:
        messages.success(request, "The token was taken back; it opens nothing any more.")
    return redirect("person", pk)
