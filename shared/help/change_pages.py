"""Page: what changed in the API. Open to everybody, as the description is."""

from __future__ import annotations

from typing import Any

from django.http import HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from shared.help.api_changes import CHANGES, KINDS


@require_safe
def changes(request: Any) -> HttpResponse:
    """List what changed, the newest first."""
    rows = [(change.on, KINDS[change.kind], change.words) for change in CHANGES]
    return render(request, "problem_kinds/changes.html", {"rows": rows})
