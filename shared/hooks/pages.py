"""Pages: the endpoints of a site, and one of them with its log and buttons."""

from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.http import Http404, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_http_methods, require_POST

from shared import clock, wall_clock
from shared.api.permissions import needs
from shared.errors import Invalid
from shared.hooks import actions, queries
from shared.hooks.forms import EndpointForm, SinceForm
from shared.hooks.models import Endpoint

MOST_SHOWN = 100


@needs("webhooks:write")
@require_http_methods(["GET", "HEAD", "POST"])
def webhooks(request: Any) -> HttpResponse:
    """List the site's endpoints, and make one."""
    form = EndpointForm(request.POST if request.method == "POST" else None)
    status = 200
    if request.method == "POST":
        made = _made(request, form)
        if made is not None:
            messages.success(request, f"Its secret, shown this once: {made.secret}")
            return redirect("webhook", pk=made.pk)
        status = 422
    rows = queries.endpoints().filter(site=request.site).order_by("name")[:MOST_SHOWN]
    facts = {"rows": rows, "form": form}
    return render(request, "hooks/webhooks.html", facts, status=status)


def _made(request: Any, form: EndpointForm) -> Endpoint | None:
    if not form.is_valid():
        return None
    try:
        return actions.add(site=request.site, now=clock.now(), **form.cleaned_data)
    except Invalid as error:
        for problem in error.problems:
            name = problem.pointer.removeprefix("#/")
            form.add_error(name if name in form.fields else None, problem.detail)
        return None


@needs("webhooks:write")
@require_http_methods(["GET", "HEAD"])
def webhook(request: Any, pk: int) -> HttpResponse:
    """Show an endpoint, what waits for it and its last attempts."""
    found = get_object_or_404(queries.endpoints(), pk=pk, site=request.site)
    facts = {"row": found, "log": queries.log_of(found, MOST_SHOWN), "since": SinceForm()}
    return render(request, "hooks/webhook.html", facts)


@needs("webhooks:write")
@require_POST
def webhook_button(request: Any, pk: int, what: str) -> HttpResponse:
    """Test, pause, go on, change the secret, send again, or delete."""
    found = get_object_or_404(Endpoint.objects.select_related("site"), pk=pk, site=request.site)
    if what not in BUTTONS:
        raise Http404
    BUTTONS[what](request, found)
    return redirect("webhooks") if what == "delete" else redirect("webhook", pk=pk)


def _test(request: Any, found: Endpoint) -> None:
    tried = actions.send_test(endpoint=found, now=clock.now())
    tell = messages.success if tried.taken else messages.error
    tell(request, f"Test after {tried.took_ms} ms: {tried.words}")


def _pause(request: Any, found: Endpoint) -> None:
    actions.pause(endpoint=found, now=clock.now(), reason=f"by {request.user}")
    messages.success(request, "Nothing is sent until it goes on; events wait.")


def _go_on(request: Any, found: Endpoint) -> None:
    actions.go_on(endpoint=found)
    messages.success(request, "It goes on, first with what has waited.")


def _secret(request: Any, found: Endpoint) -> None:
    fresh = actions.new_secret(endpoint=found, now=clock.now())
    messages.success(request, f"The new secret, shown this once: {fresh.secret}")


def _again(request: Any, found: Endpoint) -> None:
    form = SinceForm(request.POST)
    if not form.is_valid():
        messages.error(request, "Send again from: give a day and a time.")
        return
    now, typed = clock.now(), form.cleaned_data["since"]
    try:
        since = wall_clock.moment(
            typed, clock.zone(found.site.time_zone), name="Send again from", field="since",
            twice="earlier",
        )  # fmt: skip
    except Invalid as error:
        messages.error(request, error.message)
        return
    many = actions.replay(endpoint=found, since=since, now=now)
    messages.success(request, f"{many} events are sent again, with the same ids.")


def _delete(request: Any, found: Endpoint) -> None:
    found.delete()
    messages.success(request, f"{found.name} is told nothing more.")


BUTTONS = {
    "test": _test, "pause": _pause, "go-on": _go_on, "secret": _secret, "again": _again,
    "delete": _delete,
}  # fmt: skip
