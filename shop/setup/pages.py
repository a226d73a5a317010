"""Pages: the registers a shop is set up with, each as a list and a form."""

from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.core.exceptions import PermissionDenied, ValidationError
from django.http import Http404, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from shared import lists
from shared.api.permissions import needs
from shared.errors import Invalid, ShopError
from shop.catalogue.forms import asks_two, two_signature_fields
from shop.setup import actions
from shop.setup.register_form import column_of
from shop.setup.registers import BY_SLUG, Register

BESIDE = {"#/reason": "change_reason", "#/valid_from": "change_valid_from"}
"""Where the form has what a proposed change is refused for."""


def _register(slug: str) -> Register:
    if slug not in BY_SLUG:
        raise Http404
    return BY_SLUG[slug]


def _posted(request: Any) -> Any:
    return request.POST if request.method == "POST" else None


def _may_change(request: Any, register: Register) -> bool:
    """Tell whether the caller may write a register: at this site, or for all sites."""
    scope = f"{register.noun}:write"
    access = request.access
    if register.per_site:
        return bool(access.may(scope, request.site.pk))
    return bool(access.may_for_all(scope))


def _check_may_change(request: Any, register: Register) -> None:
    if not _may_change(request, register):
        where = "" if register.per_site else " for all sites"
        raise PermissionDenied(
            f"This needs {register.noun}:write{where}; your role does not have it."
        )


@needs("sites:read")
@require_safe
def register(request: Any, slug: str) -> HttpResponse:
    """List the rows of one register."""
    found = _register(slug)
    rows = found.rows(request.site)
    archived = request.GET.get("out_of_use") == "1"
    if found.may_archive:
        rows = rows.filter(in_use=not archived)
    columns = {field.name for field in found.model._meta.concrete_fields}
    usual = [("", "as usual", found.order)]
    listed = lists.found(
        request,
        rows,
        search=found.search,
        orders=usual
        + [(n, label.lower(), (n, "id")) for n, label in found.columns if n in columns]
        if found.search
        else usual,
    )
    table = [
        {"row": row, "columns": [column_of(row, name) for name, _ in found.columns]}
        for row in listed.page
    ]
    return render(
        request,
        "shop/setup/register.html",
        {
            "register": found,
            "page": listed.page,
            "found": listed,
            "table": table,
            "q": listed.q,
            "archived": archived,
            "may_change": _may_change(request, found),
        },
    )


@needs("sites:read")
@require_http_methods(["GET", "HEAD", "POST"])
def entry(request: Any, slug: str, pk: int | None = None) -> HttpResponse:
    """Show the form of one row, new or there already, and take it in."""
    found = _register(slug)
    if pk is None and found.only_own:
        raise Http404
    _check_may_change(request, found)
    row = found.model() if pk is None else get_object_or_404(found.rows(request.site), pk=pk)
    form = found.form(_posted(request), instance=row, site=request.site)
    if pk is not None and asks_two(row):
        form.fields.update(two_signature_fields())
    if request.method == "POST" and form.is_valid():
        try:
            values = form.values()
            fresh = found.model() if pk is None else found.rows(request.site).get(pk=pk)
            why = actions.Why(
                request.user,
                form.cleaned_data.get("change_reason", ""),
                form.cleaned_data.get("change_valid_from"),
            )
            saved, proposed = actions.save(
                register=found, row=fresh, values=values, site=request.site, why=why
            )
        except ValidationError as error:
            for name, words in actions.problems_of(error):
                form.add_prefixless_error(name, words)
        except Invalid as error:
            for problem in error.problems or (None,):
                name = BESIDE.get(problem.pointer if problem else "", "")
                form.add_prefixless_error(name, problem.detail if problem else error.message)
        except ShopError as error:
            form.add_error(None, error.message)
        else:
            if proposed is not None:
                words = "proposed; somebody else releases it under Changes to the catalogue"
                messages.success(request, f"The change of {saved} is {words}.")
                return redirect("catalogue-changes")
            messages.success(request, f"{saved} is {'entered' if pk is None else 'changed'}.")
            return redirect("setup-register", slug)
    return render(
        request,
        "shop/setup/entry.html",
        {"register": found, "row": row if pk is not None else None, "form": form},
        status=200,
    )


@needs("sites:read")
@require_POST
def archive(request: Any, slug: str, pk: int) -> HttpResponse:
    """Put a row out of use or back, or take it away where nothing refers to it."""
    found = _register(slug)
    if found.only_own:
        raise Http404
    _check_may_change(request, found)
    row = get_object_or_404(found.rows(request.site), pk=pk)
    name = str(row)
    try:
        if request.POST.get("remove") == "1":
            actions.remove(row=row)
            messages.success(request, f"{name} is taken away.")
        elif found.may_archive:
            back = request.POST.get("in_use") == "1"
            actions.set_in_use(row=row, in_use=back)
            messages.success(request, f"{name} is {'in use again' if back else 'out of use'}.")
    except ShopError as error:
        messages.error(request, error.message)
    return redirect("setup-register", slug)
