"""Pages: an inspection along its checklist, a repair with its lots, and measured dimensions."""

from __future__ import annotations

from typing import Any
from uuid import uuid4

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from shared import clock
from shared.access.models import Site
from shared.api.permissions import needs
from shared.codes.finding import find as find_code
from shared.errors import Invalid, ShopError
from shop import page_forms as forms
from shop.lots.models import Container
from shop.tools import actions
from shop.tools.drift_picture import drift_picture
from shop.tools.drifting import MOST_TOLD
from shop.tools.inspecting import (
    VERDICTS,
    CheckpointsLeftOut,
    Finding,
    OutsideTolerance,
    checklist,
)
from shop.tools.inspection_models import Checkpoint
from shop.tools.models import Tool, ToolEvent, ToolEventKind
from shop.tools.page_parts import happened_at
from shop.tools.repairing import Used, withdraw
from shop.tools.upkeep import drifts_of

CANS = range(1, 6)
"""Lines for cans on the page of a repair; more go by REST, or as a second repair."""
NO_SUCH_ANSWER = "choose good, not good or not looked at."


@needs("tools:write")
@require_http_methods(["GET", "POST"])
def inspect(request: Any, pk: int) -> HttpResponse:
    """Show the checklist of a tool, and take what was found."""
    tool = get_object_or_404(Tool, pk=pk, site=request.site)
    points, asks = list(checklist(tool)), ""
    if request.method == "POST":
        try:
            _inspected(request, tool, points)
            messages.success(request, "Written down.")
            return redirect("tool", pk)
        except (OutsideTolerance, CheckpointsLeftOut) as error:
            asks = error.message
        except ShopError as error:
            messages.error(request, f"{error.message} Nothing was changed.")
    rows = [
        (point, request.POST.get(f"p{point.pk}", ""), request.POST.get(f"w{point.pk}", ""))
        for point in points
    ]
    return render(
        request,
        "shop/tools/inspect.html",
        {
            "tool": tool, "rows": rows, "asks": asks, "verdicts": VERDICTS,
            "key": request.POST.get("key") or uuid4().hex, "post": request.POST,
        },
    )  # fmt: skip


def _inspected(request: Any, tool: Tool, points: list[Checkpoint]) -> None:
    post = request.POST
    actions.add_event(
        tool_id=tool.pk,
        kind=ToolEventKind.INSPECTION,
        key=f"page:{forms.text(post, 'key', 64)}",
        at=happened_at(post, request.site),
        by=request.user,
        findings=[one for point in points if (one := _finding(post, point)) is not None],
        confirmed=post.get("confirmed") == "yes",
        words=forms.text(post, "words", 400),
        facts={"verdict": post["verdict"]} if post.get("verdict") else {},
    )


def _finding(post: Any, point: Checkpoint) -> Finding | None:
    """Return what was typed at one checkpoint; nothing where it was not looked at."""
    name = f"p{point.pk}"
    typed, words = forms.text(post, name, 40), forms.text(post, f"w{point.pk}", 200)
    if not typed:
        return None
    if not point.unit:
        if typed not in ("yes", "no"):
            said = f"{point.name} is {typed!r}; {NO_SUCH_ANSWER}"
            raise Invalid.one(name, "invalid_choice", said, value=typed)
        return Finding(point, good=typed == "yes", words=words)
    below = typed.startswith("-")
    value = forms.number({point.name: typed.removeprefix("-")}, point.name, point.unit)
    return Finding(point, value=-value if below else value, words=words)


@needs("tools:write")
@require_http_methods(["GET", "POST"])
def repair(request: Any, pk: int) -> HttpResponse:
    """Write down a repair with the cans it used."""
    tool = get_object_or_404(Tool, pk=pk, site=request.site)
    if request.method == "POST":
        post = request.POST
        try:
            actions.add_event(
                tool_id=tool.pk,
                kind=ToolEventKind.REPAIR,
                key=f"page:{forms.text(post, 'key', 64)}",
                at=happened_at(post, request.site),
                by=request.user,
                used=_used(post, request.site),
                words=forms.text(post, "words", 400),
            )
            messages.success(request, f"Written down; {tool.code} is under repair.")
            return redirect("tool", pk)
        except ShopError as error:
            messages.error(request, f"{error.message} Nothing was changed.")
    cans = [(n, request.POST.get(f"can{n}", ""), request.POST.get(f"much{n}", "")) for n in CANS]
    key = request.POST.get("key") or uuid4().hex
    shown = {"tool": tool, "cans": cans, "key": key, "post": request.POST}
    return render(request, "shop/tools/repair.html", shown)


def _used(post: Any, site: Site) -> list[Used]:
    found = []
    for n in CANS:
        code = forms.text(post, f"can{n}", 80)
        if not code and not post.get(f"much{n}", "").strip():
            continue
        named = find_code(site, code, wanted=("can",), field=f"can{n}")
        container = Container.objects.select_related("lot__material").get(pk=named.pk)
        unit = container.lot.material.unit
        typed = {"quantity": post.get(f"much{n}", "")}
        found.append(Used(container, forms.number(typed, "quantity", unit)))
    return found


@needs("tools:write")
@require_POST
def withdraw_entry(request: Any, pk: int, event: int) -> HttpResponse:
    """Take back a wrong entry by a further one."""
    found = get_object_or_404(ToolEvent, pk=event, tool=pk, tool__site=request.site)
    try:
        withdraw(
            event_id=found.pk,
            words=forms.text(request.POST, "words", 400),
            key=f"page:{forms.text(request.POST, 'key', 64)}:w{found.pk}",
            by=request.user,
        )
        messages.success(request, "The entry is withdrawn; it stays to be seen.")
    except ShopError as error:
        messages.error(request, f"{error.message} Nothing was changed.")
    return redirect("tool", pk)


@needs("tools:read")
@require_safe
def dimensions(request: Any, pk: int) -> HttpResponse:
    """Show how each measured dimension of a tool drifts: a picture, and its numbers."""
    tool = get_object_or_404(Tool, pk=pk, site=request.site)
    found = drifts_of(tool, request.site, clock.today(request.site))
    rows = [
        (one, drift_picture(one), [*zip(one.found, one.places, strict=True)][-MOST_TOLD:])
        for one in found
    ]
    return render(
        request,
        "shop/tools/dimensions.html",
        {"tool": tool, "rows": rows, "points": checklist(tool), "most": MOST_TOLD},
    )
