"""Page: everything the shop is set up with, and what a first plan still lacks."""

from __future__ import annotations

from typing import Any

from django.http import HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from planning.checklist.queries import checklist
from shared import clock
from shared.api.permissions import needs
from shared.backup import daily
from shared.mail.backend import is_on
from shop.setup.registers import REGISTERS


@needs("sites:read")
@require_safe
def setup(request: Any) -> HttpResponse:
    """Show the registers, and what is missing for a first plan."""
    may = request.access.may
    items = checklist(request.site, clock.now())
    may_copy = request.access.may_for_all("sites:write")
    return render(
        request,
        "planning/setup/setup.html",
        {
            "items": items,
            "missing": [item for item in items if not item.done],
            "registers": REGISTERS,
            "may_change": may("sites:write", request.site.pk),
            "may_copy": may_copy,
            "may_hook": may("webhooks:write", request.site.pk),
            "mail_on": is_on(),
            "copies": daily.state(clock.now()) if may_copy else None,
        },
    )
