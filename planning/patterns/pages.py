"""Patterns: hand in a mesh, see what it would cast, and give it to a pour."""

from __future__ import annotations

import functools
from typing import Any

from django.contrib import messages
from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.csrf import csrf_exempt, csrf_protect
from django.views.decorators.http import require_POST

from planning.patterns import actions, page_data
from planning.patterns.models import PatternMesh, PatternState
from planning.patterns.page_forms import NewPatternForm, SetupForm, UseForm
from planning.patterns.pictures import picture_of, solid_of
from planning.patterns.queries import patterns as patterns_of
from planning.patterns.uploads import check_length
from shared import clock
from shared.api.permissions import needs
from shared.errors import Invalid, ShopError

PATTERNS_A_PAGE = 50


def _pattern(request: HttpRequest, pk: int) -> PatternMesh:
    return get_object_or_404(PatternMesh, pk=pk, site=request.site)


@needs("tool_orders:read")
def patterns(request: HttpRequest) -> HttpResponse:
    """List a site's patterns, the newest first."""
    page = Paginator(patterns_of(request.site.pk), PATTERNS_A_PAGE).get_page(
        request.GET.get("page")
    )
    may_write = request.access.may("tool_orders:write", request.site.pk)
    return render(
        request, "planning/patterns/patterns.html", {"page": page, "may_write": may_write}
    )


@csrf_protect
@needs("tool_orders:write")
def _new_pattern(request: HttpRequest) -> HttpResponse:
    form = NewPatternForm(request.POST or None, request.FILES or None)
    problem: ShopError | None = None
    if request.method == "POST" and form.is_valid():
        values = dict(form.cleaned_data)
        file, name = values.pop("file"), values.pop("name")
        try:
            made = actions.take_pattern(
                site=request.site,
                file_name=file.name,
                chunks=file.chunks(),
                name=name,
                setup=values,
                by=request.user,
                now=clock.now(),
            )
            return redirect("pattern", made.pk)
        except Invalid as error:
            problem = error
    return _form(request, form, problem, 200 if request.method == "GET" else 422)


def _form(
    request: HttpRequest, form: NewPatternForm, problem: ShopError | None, status: int
) -> HttpResponse:
    context = {"form": form, "problem": problem}
    return render(request, "planning/patterns/new_pattern.html", context, status=status)


@needs("tool_orders:write")
def _too_long(request: HttpRequest) -> HttpResponse:
    return _form(request, NewPatternForm(), request.refused, 413)


@csrf_exempt  # the token lies in the body, which is read only once its length is known
@functools.wraps(_new_pattern)
def new_pattern(request: HttpRequest) -> HttpResponse:
    """Hand a file in; a body that is too long is refused before any of it is read."""
    try:
        check_length(request)
    except Invalid as error:
        request.refused = error
        return _too_long(request)
    return _new_pattern(request)


@needs("tool_orders:read")
def pattern(request: HttpRequest, pk: int) -> HttpResponse:
    """Show a pattern: waiting, refused with the reason, or all that was found out."""
    return _page(request, _pattern(request, pk))


def _page(
    request: HttpRequest, found: PatternMesh, status: int = 200, **given: Any
) -> HttpResponse:
    asked = request.GET.get("system", "")
    context: dict[str, Any] = {
        "pattern": found,
        "pending": found.state in (PatternState.WAITING, PatternState.READING),
        "setup": SetupForm(instance=found),
        "may_write": request.access.may("tool_orders:write", request.site.pk),
    }
    if found.state == PatternState.READY:
        context |= page_data.shown(found, int(asked) if asked.isdecimal() else None)
        halves = [half["name"] for half in found.report["halves"]]
        context["pours"] = found.pours.select_related("order__tool").order_by("pk")[:12]
        context["use"] = UseForm(site=request.site, halves=halves)
    return render(request, "planning/patterns/pattern.html", context | given, status=status)


@require_POST
@needs("tool_orders:write")
def examine_again(request: HttpRequest, pk: int) -> HttpResponse:
    """Examine it with another set-up; the repair button sends nothing but that wish."""
    found = _pattern(request, pk)
    if "only_repair" in request.POST:
        actions.examine_again(pattern=found, changes={"repair": True}, now=clock.now())
        return redirect("pattern", pk)
    form = SetupForm(request.POST, instance=_pattern(request, pk))
    if not form.is_valid():
        return _page(request, found, 422, setup=form)
    try:
        actions.examine_again(pattern=found, changes=form.cleaned_data, now=clock.now())
    except Invalid as error:
        return _page(request, found, 422, setup=form, problem=error)
    return redirect("pattern", pk)


@require_POST
@needs("tool_orders:write")
def use_pattern(request: HttpRequest, pk: int) -> HttpResponse:
    """Give a pour the casting of one half."""
    found = _pattern(request, pk)
    halves = [half["name"] for half in (found.report or {}).get("halves", [])]
    form = UseForm(request.POST, site=request.site, halves=halves)
    if not form.is_valid():
        return _page(request, found, 422, use=form)
    try:
        pour = actions.use_for_pour(pattern=found, **form.cleaned_data)
    except ShopError as error:
        return _page(request, found, 422, use=form, problem=error)
    messages.success(
        request, f"{pour} takes its casting from {found.name}: {pour.volume_l:.3f} L."
    )
    return redirect("pour", pour.pk)


@require_POST
@needs("tool_orders:write")
def throw_away(request: HttpRequest, pk: int) -> HttpResponse:
    """Delete a pattern nobody needs."""
    found = _pattern(request, pk)
    try:
        actions.throw_away(pattern=found)
    except ShopError as error:
        return _page(request, found, 409, problem=error)
    messages.success(request, f"{found.name} was thrown away.")
    return redirect("patterns")


@needs("tool_orders:read")
def picture(request: HttpRequest, pk: int, view: str) -> HttpResponse:
    """Return the picture coloured by draft and undercut."""
    return picture_of(_pattern(request, pk), view)


@needs("tool_orders:read")
def solid(request: HttpRequest, pk: int) -> HttpResponse:
    """Return the thinned pattern for the viewer."""
    return solid_of(_pattern(request, pk))
