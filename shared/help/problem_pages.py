"""Pages: what each error of the API means. Open to everybody, as the description is."""

from __future__ import annotations

from typing import Any

from django.http import Http404, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from shared.api.problem_kinds import BY_SLUG, KINDS
from shared.api.problems import title_of


@require_safe
def kinds(request: Any) -> HttpResponse:
    """List every kind of error."""
    rows = [(slug, code, KINDS[code]) for slug, code in BY_SLUG.items()]
    return render(request, "problem_kinds/index.html", {"rows": rows})


@require_safe
def kind(request: Any, slug: str) -> HttpResponse:
    """Show one kind; answers name this address as their type."""
    if slug not in BY_SLUG:
        raise Http404
    code = BY_SLUG[slug]
    context = {"code": code, "kind": KINDS[code], "title": title_of(code)}
    return render(request, "problem_kinds/kind.html", context)
