"""Page: the audit of a site."""

from __future__ import annotations

from typing import Any

from django.core.paginator import Paginator
from django.http import HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_GET

from shared.api.permissions import needs
from shared.audit import queries

ENTRIES_A_PAGE = 50


@needs("audit:read")
@require_GET
def audit(request: Any) -> HttpResponse:
    """Show who changed what, newest first."""
    rows = Paginator(queries.entries([request.site.pk]), ENTRIES_A_PAGE)
    return render(request, "access/audit.html", {"page": rows.get_page(request.GET.get("page"))})
