"""Page: the mail server, a trial, and what could not be sent."""

from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.core.exceptions import PermissionDenied
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_http_methods

from shared import clock
from shared.api.permissions import needs
from shared.errors import ShopError
from shared.mail import actions, backend
from shared.mail.forms import ServerForm, TrialForm
from shared.mail.unsent import unsent


@needs("sites:write")
@require_http_methods(["GET", "HEAD", "POST"])
def mail(request: Any) -> HttpResponse:
    """Enter the server mail leaves by, try it, and see what could not be sent."""
    if not request.access.may_for_all("sites:write"):
        raise PermissionDenied(
            "Mail of all sites leaves by one server: this needs sites:write for all sites; your "
            "role does not have it."
        )
    posted = request.POST if request.method == "POST" else None
    trying = posted is not None and "to" in posted
    kept = backend.entered()
    form = ServerForm(None if trying else posted, instance=backend.entered())
    trial = TrialForm(posted if trying else None, initial={"to": request.user.email})
    if trying and trial.is_valid():
        try:
            actions.send_trial(trial.cleaned_data["to"], clock.now())
            messages.success(request, f"The server took the trial to {trial.cleaned_data['to']}.")
        except ShopError as error:
            messages.error(request, error.message)
        return redirect("mail")
    if posted is not None and not trying and form.is_valid():
        row = form.save(commit=False)
        row.version += 1
        row.tried_at, row.outcome = None, ""
        row.save()
        messages.success(
            request,
            f"Mail leaves by {row.host}. Send a trial to be sure." if row.host else backend.OFF,
        )
        return redirect("mail")
    return render(
        request,
        "mail/mail.html",
        {
            "form": form,
            "trial": trial,
            "kept": kept,
            "on": backend.is_on(),
            "by_environment": backend.by_environment(),
            "rows": unsent(request.site.pk),
        },
        status=422 if posted is not None else 200,
    )
