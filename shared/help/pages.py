"""Pages: help, its guides, and the terms."""

from __future__ import annotations

from typing import Any

from django.http import Http404, HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.views.decorators.http import require_safe

from shared.api.permissions import signed_in
from shared.help.guides import BY_SLUG, GUIDES, Line
from shared.help.terms import found


@signed_in
@require_safe
def help_index(request: Any) -> HttpResponse:
    """List the guides, and the terms that hold what is looked for."""
    asked = request.GET.get("q", "").strip()[:60]
    return render(
        request, "help/index.html", {"guides": GUIDES, "terms": found(asked), "q": asked}
    )


@signed_in
@require_safe
def guide(request: Any, slug: str) -> HttpResponse:
    """Show one guide; it prints on one page."""
    if slug not in BY_SLUG:
        raise Http404
    one = BY_SLUG[slug]
    lines = [
        {"words": line.words, "label": line.label, "to": _address(line)} for line in one.lines
    ]
    return render(request, "help/guide.html", {"guide": one, "lines": lines})


def _address(line: Line) -> str:
    if not line.page:
        return ""
    return reverse(line.page, args=[line.slug] if line.slug else [])
