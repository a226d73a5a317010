"""Pages: what is open, what could not be sent, how one is told, and the calendar feed."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from planning.reminders import actions, limits, queries
from planning.reminders.calendar_feed import feed_of, owner_of
from planning.reminders.forms import ChannelsForm, QuietForm, WebhookForm
from planning.reminders.models import Delivery
from planning.reminders.sweep import database_now
from shared import clock
from shared.api.permissions import needs
from shared.errors import ShopError
from shared.mail.backend import is_on

AHEAD = timedelta(days=7)
MOST_SHOWN = 100


@needs("reminders:read")
@require_GET
def reminders(request: Any) -> HttpResponse:
    """List what is open, what comes, and messages in trouble."""
    now = clock.now()
    return render(
        request,
        "planning/reminders/reminders.html",
        {
            "open": queries.open_reminders(request.site)[:MOST_SHOWN],
            "coming": queries.coming(request.site, now + AHEAD)[:MOST_SHOWN],
            "troubled": queries.troubled(request.site)[:MOST_SHOWN],
            "paused": limits.paused(),
            "health": queries.sweeper_health(database_now(now)),
            "may_confirm": request.access.may("reminders:write", request.site.pk),
        },
    )


@require_POST
@needs("reminders:write")
def send_again(request: Any, pk: int) -> HttpResponse:
    """Try a message that failed again."""
    delivery = get_object_or_404(Delivery, pk=pk, site=request.site)
    try:
        actions.send_again(delivery=delivery, now=clock.now())
        messages.success(request, f"The message to {delivery.user} is tried again.")
    except ShopError as error:
        messages.error(request, error.message)
    return redirect("reminders")


@needs("reminders:read")
@require_http_methods(["GET", "POST"])
def how_told(request: Any) -> HttpResponse:
    """Let a person choose channels, quiet hours, webhook and calendar."""
    own = actions.settings_of(request.user)
    rows = queries.choices_of(request.user, request.site)
    what = request.POST.get("what", "")
    forms: dict[str, Any] = {
        "channels": ChannelsForm(request.POST if what == "channels" else None, rows=rows),
        "quiet": QuietForm(
            request.POST if what == "quiet" else None,
            initial={"quiet_from": own.quiet_from, "quiet_until": own.quiet_until},
        ),
        "webhook": WebhookForm(
            request.POST if what == "webhook" else None, initial={"webhook_url": own.webhook_url}
        ),
    }
    if what in forms and forms[what].is_valid():
        try:
            _keep(request, what, forms[what].cleaned_data)
            return redirect("how-told")
        except ShopError as error:
            for found in getattr(error, "problems", ()):
                field = found.pointer.removeprefix("#/")
                known = field in forms[what].fields
                forms[what].add_error(field if known else None, found.detail)
    facts = {
        **{f"{name}_form": form for name, form in forms.items()},
        "own": own,
        "mail_on": is_on(),
    }
    return render(request, "planning/reminders/how_told.html", facts)


def _keep(request: Any, what: str, values: dict[str, Any]) -> None:
    if what == "quiet":
        actions.set_quiet_hours(user=request.user, **values)
        messages.success(request, "Your quiet hours are kept.")
    elif what == "webhook":
        secret = actions.set_webhook(user=request.user, url=values["webhook_url"])
        words = f"Write the secret down, it is shown once: {secret}" if secret else "It is off."
        messages.success(request, f"The webhook address is kept. {words}")
    else:
        for row in queries.choices_of(request.user, request.site):
            if set(values[row.kind]) != set(row.channels):
                actions.choose_channels(
                    user=request.user, site=request.site, kind=row.kind, channels=values[row.kind]
                )
        messages.success(request, "Your channels are kept.")


@require_POST
@needs("reminders:read")
def new_feed(request: Any) -> HttpResponse:
    """Give a new address for one's calendar, or take the old one back."""
    if request.POST.get("what") == "close":
        actions.close_feed(user=request.user)
        messages.success(request, "Your calendar address no longer works.")
    else:
        token = actions.renew_feed(user=request.user)
        address = request.build_absolute_uri(reverse("calendar-feed", args=[token]))
        messages.success(
            request, f"Subscribe to this address; it is shown once and opens only yours: {address}"
        )
    return redirect("how-told")


@require_GET
def calendar_feed(request: HttpRequest, token: str) -> HttpResponse:
    """Return the calendar that a token opens; the token is all the caller shows."""
    owner = owner_of(actions.digest_of(token))
    if owner is None:
        raise Http404("No such calendar.")
    response = HttpResponse(
        feed_of(owner, clock.now()), content_type="text/calendar; charset=utf-8"
    )
    response["Cache-Control"] = "private, max-age=300"
    response["Content-Disposition"] = 'inline; filename="casting-shop.ics"'
    response["Referrer-Policy"] = "no-referrer"
    return response
