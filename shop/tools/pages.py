"""Pages: the register of tools, and one tool with its halves, events and life."""

from __future__ import annotations

from typing import Any
from uuid import uuid4

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_POST, require_safe

from shared import clock, lists
from shared.access.models import Site
from shared.api.permissions import needs
from shared.codes.finding import find as find_code
from shared.errors import Invalid, ShopError
from shop import page_forms as forms
from shop.lots.models import Container
from shop.registers import change, in_words
from shop.release_agents.models import ReleaseRecipe, Surface
from shop.tools import actions
from shop.tools.counter_file import COLUMNS, MOST_BYTES, load_counter_file
from shop.tools.face import MOST_COATS, NO_COAT, Coat
from shop.tools.life import states
from shop.tools.models import (
    ON_FACE,
    Tool,
    ToolEvent,
    ToolEventKind,
    ToolFamily,
    ToolKind,
    ToolStatus,
)
from shop.tools.page_parts import happened_at, shown_events
from shop.tools.repairing import reasons
from shop.tools.runs import MOST_SHOTS, NO_READINGS, Readings, correct_shots, service_limit_c
from shop.tools.serializers import MOST_SO_FAR
from shop.tools.taking_over import enter_tool
from shop.tools.upkeep import PACE_DAYS

ON_A_PAGE = 50
LIMITS = (
    "expected_shots", "promised_shots", "shots_per_coat", "shots_per_inspection",
    "days_per_inspection",
)  # fmt: skip
KINDS = [choice for choice in ToolEventKind.choices if choice[0] in actions.ENTERED]


@needs("tools:read")
@require_safe
def tools(request: Any) -> HttpResponse:
    """List tools with what they want."""
    status = request.GET.get("status", "")
    rows = Tool.objects.filter(site=request.site).select_related("family")
    rows = rows.prefetch_related("halves")
    if status in ToolStatus.values:
        rows = rows.filter(status=status)
    elif status != "all":
        rows = rows.exclude(status=ToolStatus.RETIRED)
    listed = lists.found(
        request,
        rows,
        search=("code", "name", "customer", "family__name"),
        orders=(
            ("code", "code", ("code",)),
            ("name", "name", ("name", "code")),
            ("customer", "customer", ("customer", "code")),
        ),
    )
    page = listed.page
    return render(
        request,
        "shop/tools/tools.html",
        {
            "page": page,
            "found": listed,
            "states": states(page, request.site, clock.today(request.site)),
            "status": status,
            "statuses": ToolStatus.choices,
            "kinds": ToolKind.choices,
            "columns": ", ".join(COLUMNS),
            "may_write": request.access.may("tools:write", request.site.pk),
        },
    )


@needs("tools:read")
@require_safe
def tool(request: Any, pk: int) -> HttpResponse:
    """Show one tool."""
    rows = Tool.objects.select_related(
        "location", "replaces", "family", "release_recipe"
    ).prefetch_related("halves")
    found = get_object_or_404(rows, pk=pk, site=request.site)
    [state] = states([found], request.site, clock.today(request.site))
    return render(
        request,
        "shop/tools/tool.html",
        {
            "tool": found,
            "shown": state,
            "events": shown_events(found),
            "reasons": reasons(request.site.pk),
            "surfaces": Surface.choices,
            "recipes": ReleaseRecipe.objects.order_by("name"),
            "kinds": KINDS,
            "service_limit_c": service_limit_c(found),
            "limits": [(n, n.replace("_", " "), getattr(found, n)) for n in LIMITS],
            "families": ToolFamily.objects.filter(site=request.site, in_use=True).order_by("name"),
            "pace_days": PACE_DAYS,
            "may_write": request.access.may("tools:write", request.site.pk),
            "key": uuid4().hex,
        },
    )


@needs("tools:write")
@require_POST
def add(request: Any) -> HttpResponse:
    """Enter a tool that the shop already has or that was asked for."""
    try:
        service = request.POST.get("service_c", "").strip()
        shots = request.POST.get("shots_so_far", "").strip()
        made = enter_tool(
            site=request.site,
            by=request.user,
            in_service_since=forms.day(request.POST, "in_service_since"),
            shots_so_far=(
                forms.whole(request.POST, "shots_so_far", MOST_SO_FAR, 0) if shots else None
            ),
            code=forms.text(request.POST, "code", 40),
            name=forms.text(request.POST, "name", 120),
            kind=forms.text(request.POST, "kind", 8),
            customer=forms.text(request.POST, "customer", 120),
            service_c=forms.number(request.POST, "service_c", "°C") if service else None,
        )
    except ShopError as error:
        messages.error(request, f"{error.message} Nothing was changed.")
        return redirect("tools")
    except ValidationError as error:
        messages.error(request, f"{in_words(error)} Nothing was changed.")
        return redirect("tools")
    return redirect("tool", made.pk)


@needs("tools:write")
@require_POST
def event(request: Any, pk: int) -> HttpResponse:
    """Add what happened to a tool."""
    found = get_object_or_404(Tool, pk=pk, site=request.site)
    post = request.POST
    try:
        kind = forms.text(post, "kind", 12)
        shots = forms.whole(post, "shots", MOST_SHOTS) if kind == ToolEventKind.SHOTS else 0
        verdict = post.get("verdict", "").strip()
        actions.add_event(
            tool_id=found.pk,
            kind=kind,
            key=f"page:{forms.text(post, 'key', 64)}",
            at=happened_at(post, request.site),
            by=request.user,
            shots=shots,
            readings=_readings(post) if kind == ToolEventKind.SHOTS else NO_READINGS,
            coat=_coat(post, request.site, kind) if kind in ON_FACE else NO_COAT,
            confirmed=post.get("confirmed") == "yes",
            reason=forms.text(post, "reason", 120),
            words=forms.text(post, "words", 400),
            facts={"verdict": verdict} if verdict else {},
        )
        messages.success(request, "Written down.")
    except ShopError as error:
        messages.error(request, f"{error.message} Nothing was changed.")
    return redirect("tool", pk)


def _readings(post: Any) -> Readings:
    """Return what the press said of a run, where it was typed in."""
    found = {
        name: round(forms.number(post, name, unit), 1)
        for name, unit in (("temperature_c", "°C"), ("cycle_s", "s"), ("clamp_kn", "kN"))
        if post.get(name, "").strip()
    }
    return Readings(**found)


def _coat(post: Any, site: Site, kind: str) -> Coat:
    """Return what went onto the face: coats, the can by its code, and how much of it."""
    coats = container = quantity = None
    if kind == ToolEventKind.COAT and post.get("coats", "").strip():
        coats = forms.whole(post, "coats", MOST_COATS)
    if code := forms.text(post, "container", 80):
        named = find_code(site, code, wanted=("can",), field="container")
        container = Container.objects.select_related("lot__material").get(pk=named.pk)
    if post.get("quantity", "").strip():
        quantity = forms.number(post, "quantity")
    return Coat(coats, container, quantity)


@needs("tools:write")
@require_POST
def correct(request: Any, pk: int, event: int) -> HttpResponse:
    """Put the shots of a run right by a further entry."""
    found = get_object_or_404(ToolEvent, pk=event, tool=pk, tool__site=request.site)
    try:
        correct_shots(
            event_id=found.pk,
            shots=forms.whole(request.POST, "shots", MOST_SHOTS, 0),
            words=forms.text(request.POST, "words", 400),
            key=f"page:{forms.text(request.POST, 'key', 64)}:{found.pk}",
            by=request.user,
        )
        messages.success(request, "The shots are put right; the first entry stays to be seen.")
    except ShopError as error:
        messages.error(request, f"{error.message} Nothing was changed.")
    return redirect("tool", pk)


@needs("tools:write")
@require_POST
def counter_file(request: Any) -> HttpResponse:
    """Enter the shots of a press counter from a CSV file."""
    file = request.FILES.get("file")
    try:
        if file is None:
            raise Invalid.one("file", "required", "file is empty; choose a CSV file.")
        data = file.read(MOST_BYTES + 1)
        loaded = load_counter_file(site=request.site, data=data, by=request.user)
        words = f"{loaded.entered} runs entered, {loaded.known} rows known from before."
        if loaded.first_readings:
            words += f" The counter starts here for {', '.join(loaded.first_readings)}."
        messages.success(request, words)
    except ShopError as error:
        messages.error(request, error.message)
    return redirect("tools")


@needs("tools:write")
@require_POST
def limits(request: Any, pk: int) -> HttpResponse:
    """Set family, face and recipe, and shots expected, promised, and between coats."""
    found = get_object_or_404(Tool, pk=pk, site=request.site)
    try:
        values: dict[str, Any] = {name: _limit(request.POST, name) for name in LIMITS}
        families = ToolFamily.objects.filter(site=request.site)
        clamp = request.POST.get("clamp_limit_kn", "").strip()
        values["clamp_limit_kn"] = (
            round(forms.number(request.POST, "clamp_limit_kn", "kN"), 1) if clamp else None
        )
        area = request.POST.get("face_m2", "").strip()
        values["face_m2"] = forms.number(request.POST, "face_m2", "m²") if area else None
        values["family"] = forms.chosen(request.POST, "family", families)
        recipes = ReleaseRecipe.objects.all()
        values["release_recipe"] = forms.chosen(request.POST, "release_recipe", recipes)
        values["surface"] = request.POST.get("surface") or found.surface
        change(found, version=found.version + 1, **values)
        messages.success(request, "The limits are set.")
    except (ShopError, ValidationError) as error:
        words = error.message if isinstance(error, ShopError) else " ".join(error.messages)
        messages.error(request, f"{words} Nothing was changed.")
    return redirect("tool", pk)


def _limit(post: Any, name: str) -> int | None:
    if not post.get(name, "").strip():
        return 0 if name == "promised_shots" else None
    least = 0 if name == "promised_shots" else 1
    return forms.whole(post, name, MOST_SHOTS, least)
