"""Pages of an administrator: where somebody is signed in, a lost phone, and who leaves."""

from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_http_methods

from shared.access import queries
from shared.access.actions import check_may_change
from shared.access.models import User
from shared.api.permissions import needs
from shared.errors import ShopError
from shared.sign_in import leaving, second_step, sign_ins
from shared.sign_in.forms import LeavingForm


def _person(request: Any, pk: int) -> User:
    return get_object_or_404(queries.people_of(request.site), pk=pk)


@needs("accounts:write")
@require_http_methods(["GET", "HEAD", "POST"])
def sign_in(request: Any, pk: int) -> HttpResponse:
    """Show where somebody is signed in; end it, or take away the second step of a lost phone."""
    person = _person(request, pk)
    if request.method == "POST":
        try:
            check_may_change(person, request.user)
        except ShopError as error:
            messages.error(request, f"{error.message} Nothing was changed.")
            return redirect("person-sign-in", pk)
        if request.POST.get("what") == "step":
            second_step.turn_off(person)
            sign_ins.end(person, but=request.session.session_key)
            messages.success(
                request, f"{person} signs in by password alone now; other sign-ins have ended."
            )
        else:
            count = sign_ins.end(person, but=request.session.session_key)
            messages.success(request, f"{count} sign-in{'' if count == 1 else 's'} ended.")
        return redirect("person-sign-in", pk)
    context = {
        "person": person,
        "rows": sign_ins.sign_ins_of(person),
        "step": second_step.told_of(person),
    }
    return render(request, "sign_in/person.html", context)


@needs("accounts:write")
@require_http_methods(["GET", "HEAD", "POST"])
def leave(request: Any, pk: int) -> HttpResponse:
    """Take out somebody who leaves, after naming what hangs on them."""
    person = _person(request, pk)
    form = LeavingForm(request.POST or None, username=person.username)
    if request.method == "POST" and form.is_valid():
        try:
            leaving.leave(person, by=request.user)
        except ShopError as error:
            form.add_error(None, error.message)
        else:
            messages.success(request, f"{person} is out; nothing they held opens any more.")
            return redirect("people")
    context = {
        "person": person,
        "form": form,
        "ties": leaving.ties_of(person),
        "tokens": queries.tokens_of(person).filter(revoked_at=None).count(),
    }
    status = 422 if form.is_bound and form.errors else 200
    return render(request, "sign_in/leave.html", context, status=status)
