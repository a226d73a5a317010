"""From a code to a page: where a label leads, and the search by code of every page."""

from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.http import HttpResponse, JsonResponse
from django.shortcuts import redirect, render
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_safe

from shared.api.permissions import needs
from shared.codes.finding import find
from shared.errors import ShopError


@never_cache
@needs("sites:read")
@require_safe
def labelled(request: Any, code: str) -> HttpResponse:
    """Go from the address on a label to the page of what it is stuck on."""
    return _to_page(request, code)


@never_cache
@needs("sites:read")
@require_safe
def scan(request: Any) -> HttpResponse:
    """Go to the page of whatever a code names; without a code, ask for one."""
    if "code" not in request.GET:
        return render(request, "codes/scan.html", {"code": ""})
    return _to_page(request, request.GET["code"])


def _to_page(request: Any, code: str) -> HttpResponse:
    try:
        return redirect(find(request.site, code, access=request.access).address)
    except ShopError as error:
        messages.warning(request, error.message)
        return render(request, "codes/scan.html", {"code": code}, status=404)


@never_cache
@needs("sites:read")
@require_safe
def named(request: Any) -> JsonResponse:
    """Tell a page's script what a code names; `for` says which kinds it asks for."""
    wanted = request.GET.get("for", "").split()
    try:
        found = find(
            request.site, request.GET.get("code", ""), wanted=wanted, access=request.access
        )
    except ShopError as error:
        return JsonResponse({"message": error.message})
    return JsonResponse(
        {"kind": found.kind, "id": found.pk, "code": found.code, "words": found.words}
    )
